"""Imports and restores that would like to reach outside, hang, or fill the card."""

from __future__ import annotations

import io
import itertools
import json
import os
import tarfile
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import ParamSpec

import pytest

from collector.backup import backup, restore, verify
from collector.book.book import Book
from collector.exchange import import_file
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault, Unusable, WarmcoilError
from config.home import Home
from config.settings import Settings
from tests.campaigns.fuzz import most_mb
from tests.collector.test_backup import forged
from tests.faults.record import Promise, told

pytestmark = pytest.mark.timeout(60)
P = ParamSpec("P")


def kind_of(kind: bytes, link: str = "") -> Callable[[tarfile.TarInfo], None]:
    def change(info: tarfile.TarInfo) -> None:
        info.type, info.linkname = kind, link
        if kind != tarfile.REGTYPE:
            info.size = 0
        info.devmajor, info.devminor = 1, 5  # /dev/zero

    return change


def plain(_info: tarfile.TarInfo) -> None:
    return


HOSTILE: dict[str, tuple[str, Callable[[tarfile.TarInfo], None]]] = {
    "a name that leads up": ("../x", plain),
    "a name that leads up from within": ("care/../../x.toml", plain),
    "an absolute name": ("/x", plain),
    "an absolute name of two slashes": ("//x", plain),
    "a name with a NUL": ("care/a\0/../../x.toml", plain),
    "a name with a line feed": ("warmcoil.toml\n", plain),
    "a name with a backslash": ("..\\x", plain),
    "the lock of a process": ("collector.lock", plain),
    "the key of the links": ("link.key", plain),
    "a symbolic link": ("book.db", kind_of(tarfile.SYMTYPE, "/etc/passwd")),
    "a symbolic link that leads up": ("care/own.toml", kind_of(tarfile.SYMTYPE, "../../x")),
    "a hard link": ("book.db", kind_of(tarfile.LNKTYPE, "/etc/passwd")),
    "a hard link to a member": ("book.db", kind_of(tarfile.LNKTYPE, "warmcoil.toml")),
    "a character device": ("book.db", kind_of(tarfile.CHRTYPE)),
    "a block device": ("book.db", kind_of(tarfile.BLKTYPE)),
    "a fifo": ("book.db", kind_of(tarfile.FIFOTYPE)),
    "a folder": ("book.db", kind_of(tarfile.DIRTYPE)),
    "a folder in the settings' place": ("care/own.toml", kind_of(tarfile.DIRTYPE)),
}


@contextmanager
def only(folder: Path) -> Iterator[None]:
    """Nothing but what is there now may be there afterwards."""
    before = sorted(path.name for path in folder.iterdir())
    yield
    assert sorted(path.name for path in folder.iterdir()) == before


def refused(work: Callable[P, object], *given: P.args, **named: P.kwargs) -> str:
    """The one line that says no; fails where it hangs for 10 s, or is more than a line."""
    lines: list[str] = []

    def run() -> None:
        try:
            work(*given, **named)
        except WarmcoilError as fault:
            lines.append(str(fault))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(10)
    assert not thread.is_alive(), "it hangs"
    assert len(lines) == 1
    assert "\n" not in lines[0]
    return lines[0]


def test_backups_made_to_reach_outside(tmp_path: Path) -> None:
    file = tmp_path / "b.tar"
    for name, (member, change) in HOSTILE.items():
        forged(file, member, change=change)
        with only(tmp_path):
            line = refused(restore, file, Home(tmp_path / "again"))
            refused(verify, file)
        assert "nothing was restored" in line, name
    told(
        Promise.INSIDE, "restoring a backup with names that lead out, links, devices or folders",
        tried=len(HOSTILE), of="files outside",
    )  # fmt: skip


VAST = 8 * 10**15
"""Bytes; no card has them, and no memory."""


def claiming(file: Path, kind: bytes, *, holes: bool) -> Path:
    """A backup whose book claims to be vast; with `holes` the file has some of it, as a hole."""
    sizes = (("warmcoil.toml", 0), ("book.db", VAST))
    members = {name: {"bytes": size, "sha256": "0" * 64} for name, size in sizes}
    manifest = {"format": 1, "taken": "2026-01-01T00:00:00Z", "members": members}
    text = json.dumps(manifest).encode()
    with tarfile.open(file, "w") as tar:
        info = tarfile.TarInfo("manifest.json")
        info.size = len(text)
        tar.addfile(info, io.BytesIO(text))
        tar.addfile(tarfile.TarInfo("warmcoil.toml"))
        end = tar.offset
    book = tarfile.TarInfo("book.db")
    book.type, book.size = kind, VAST
    with file.open("r+b") as stream:
        stream.seek(end)
        stream.write(book.tobuf(tarfile.GNU_FORMAT))
        stream.truncate(9 * 10**9 if holes else end + 20_000)
    return file


def test_backups_larger_than_the_card(tmp_path: Path) -> None:
    """A member said to be vast, with and without a hole that is; and headers of that size."""
    kinds = (
        tarfile.REGTYPE, tarfile.GNUTYPE_SPARSE, tarfile.XHDTYPE, tarfile.XGLTYPE,
        tarfile.GNUTYPE_LONGNAME, tarfile.GNUTYPE_LONGLINK, tarfile.SOLARIS_XHDTYPE,
    )  # fmt: skip
    before_mb = most_mb()
    for kind, holes in itertools.product(kinds, (False, True)):
        file = claiming(tmp_path / "b.tar", kind, holes=holes)
        with only(tmp_path):
            refused(restore, file, Home(tmp_path / "again"))
            refused(verify, file)
    more_mb = most_mb() - before_mb
    assert more_mb < 20
    told(
        Promise.INSIDE, "restoring a backup that claims to be larger than any card or memory",
        tried=2 * len(kinds), of="files outside", note=f"{more_mb:.0f} MB more",
    )  # fmt: skip


def test_a_backup_that_does_not_fit_on_the_card_is_not_begun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "b.tar"
    forged(file, "book.db")
    monkeypatch.setattr("collector.backup._free_bytes", lambda _folder: 0)
    with only(tmp_path), pytest.raises(StoreFault, match=r"takes 1 bytes.*0 are free; make room"):
        restore(file, Home(tmp_path / "again"))


@pytest.fixture
def strange(tmp_path: Path) -> dict[str, Path]:
    """Files that are none."""
    made = {name: tmp_path / name for name in ("fifo", "folder", "loop", "to-zero", "to-nowhere")}
    os.mkfifo(made["fifo"])
    made["folder"].mkdir()
    made["loop"].symlink_to(made["loop"])
    made["to-zero"].symlink_to("/dev/zero")
    made["to-nowhere"].symlink_to("/nowhere")
    to_fifo = tmp_path / "to-fifo"
    to_fifo.symlink_to(made["fifo"])
    return {**made, "to-fifo": to_fifo, "/dev/zero": Path("/dev/zero"), "tty": Path("/dev/ptmx")}


def test_imports_of_what_is_no_file(tmp_path: Path, strange: dict[str, Path]) -> None:
    with (
        Book(tmp_path / "book.db") as book,
        closing(SqliteArchive(tmp_path / "archive.db")) as archive,
    ):
        for kind in ("readings", "meals"):
            for path in strange.values():
                line = refused(
                    import_file, kind, path, book=book, archive=archive, settings=Settings()
                )
                assert line.startswith(f"{path}: ")
        good = tmp_path / "good.csv"
        good.write_text("enclosure,room,notes\nlow,,\n", "utf-8")
        link = tmp_path / "link.csv"
        link.symlink_to(good)
        done = import_file("enclosures", link, book=book, archive=archive, settings=Settings())
        assert done.added == 1
    told(
        Promise.INSIDE, "importing a fifo, a folder, /dev/zero, a terminal, or links to them",
        tried=2 * len(strange), of="files read for ever",
    )  # fmt: skip


def test_restores_from_and_into_what_is_no_file_or_folder(
    tmp_path: Path, strange: dict[str, Path]
) -> None:
    home = Home(tmp_path / "home")
    home.folder.mkdir()
    home.settings.write_text("", "utf-8")
    file = tmp_path / "b.tar"
    backup(home, file)
    for path in strange.values():
        with only(tmp_path):
            refused(restore, path, Home(tmp_path / "again"))
    into = 0
    for name in ("fifo", "loop", "to-zero", "to-fifo"):
        with only(tmp_path):
            refused(restore, file, Home(strange[name]))
            refused(restore, file, Home(strange[name] / "below"))
            refused(backup, home, strange[name])
        into += 3
    assert strange["fifo"].is_fifo()
    full = tmp_path / "full"
    full.mkdir()
    (full / "mine").write_text("mine", "utf-8")
    link = tmp_path / "link"
    link.symlink_to(full)
    with only(tmp_path), only(full):
        refused(restore, file, Home(link))
    told(
        Promise.INSIDE, "restoring from and into fifos, devices, loops and links",
        tried=len(strange) + into + 1, of="files changed",
    )  # fmt: skip
    with pytest.raises(Unusable):
        restore(tmp_path / "not-there", Home(tmp_path / "again"))
