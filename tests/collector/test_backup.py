"""One file holds everything, and what comes back is the same; a damaged file restores nothing."""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import sqlite3
import stat
import subprocess
import sys
import tarfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from collector.backup import backup, restore
from collector.book.book import Book
from collector.book.records import Animal
from collector.readings import Quantity, Reading, SeriesKey
from collector.store.columns import Columns
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from config.errors import NotSo, StoreFault, Unusable
from config.home import Home

KEY = SeriesKey("p", Quantity.TEMPERATURE)
SETTINGS = (
    'time_zone = "Europe/Lisbon"\n[mqtt]\nhost = "localhost"\npassword_file = "/etc/secret"\n'
)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = Home(tmp_path / "home")
    made.readings.mkdir(parents=True)
    made.settings.write_text(SETTINGS, encoding="utf-8")
    (made.folder / "care").mkdir()
    (made.folder / "care" / "own.toml").write_text("# mine\n", encoding="utf-8")
    with Book(made.book) as book:
        book.put(Animal("Juno"))
    with closing(SqliteArchive(made.archive)) as archive:
        archive.write(Columns.of(Reading("p", KEY.quantity, at, 30.0) for at in range(0, 900, 10)))
    return made


def content_of(home: Home) -> list[str]:
    with Book(home.book, read_only=True) as book, Reader(home.journal, home.archive) as reader:
        columns = reader.columns(KEY, 0, 1 << 50)
        rows = zip(columns.at_ms, columns.values(), strict=True)
        return [*(a.animal for a in book.animals()), *(f"{at} {value}" for at, value in rows)]


def test_a_backup_taken_while_it_runs_gives_the_same_home(home: Home, tmp_path: Path) -> None:
    with closing(Journal(home.journal)) as journal, Book(home.book) as book:
        journal.commit([Reading("p", KEY.quantity, 1000, 31.5)])
        book.put(Animal("Pip"))
        with book.transaction():
            book.put(Animal("not yet"))
            taken = backup(home, tmp_path / "b.tar")
    assert taken.members == (
        "readings/journal.db", "readings/archive.db", "book.db", "warmcoil.toml", "care/own.toml",
    )  # fmt: skip
    assert taken.left_out == (Path("/etc/secret"),)
    again = Home(tmp_path / "new" / "again")
    restore(tmp_path / "b.tar", again)
    assert again.settings.read_text(encoding="utf-8") == SETTINGS
    assert (again.folder / "care" / "own.toml").read_text(encoding="utf-8") == "# mine\n"
    assert content_of(again) == [
        "Juno",
        "Pip",
        *(f"{at} 30.0" for at in range(0, 900, 10)),
        "1000 31.5",
    ]
    assert stat.S_IMODE(again.folder.stat().st_mode) == 0o755


def test_a_reading_sealed_between_the_two_copies_is_not_lost(
    home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The moment that a copy of journal and archive in the other order would lose it."""
    with closing(Journal(home.journal)) as journal:
        journal.commit([Reading("p", KEY.quantity, 1000, 31.5)])
        real = sqlite3.connect

        def connect(target: object, *args: object, **more: object) -> sqlite3.Connection:
            if "archive.db?mode=ro" in str(target):
                with closing(SqliteArchive(home.archive)) as archive:
                    seal(journal, archive)
            return real(target, *args, **more)  # type: ignore[call-overload,no-any-return]

        monkeypatch.setattr("collector.backup.sqlite3.connect", connect)
        backup(home, tmp_path / "b.tar")
        monkeypatch.undo()
    again = Home(tmp_path / "again")
    restore(tmp_path / "b.tar", again)
    assert content_of(again)[-1] == "1000 31.5"


def test_only_the_owner_may_read_a_backup_and_no_user_is_named_in_it(
    home: Home, tmp_path: Path
) -> None:
    file = tmp_path / "b.tar"
    backup(home, file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    with tarfile.open(file) as tar:
        assert {(info.uname, info.gname, info.uid) for info in tar} == {("", "", 0)}
        assert tar.getnames()[0] == "manifest.json"
    backup(home, file)  # tonight's takes the place of yesterday's
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_another_file_is_never_overwritten(home: Home) -> None:
    with pytest.raises(Unusable) as caught:
        backup(home, home.settings)
    assert str(caught.value) == (
        f"{home.settings}: there is something else here; choose another name"
    )
    assert home.settings.read_text(encoding="utf-8") == SETTINGS


def test_a_home_with_a_slip_in_its_settings_is_backed_up(home: Home, tmp_path: Path) -> None:
    home.settings.write_text("not toml", encoding="utf-8")
    assert backup(home, tmp_path / "b.tar").left_out == ()


def test_no_home_and_no_folder_are_one_line(home: Home, tmp_path: Path) -> None:
    with pytest.raises(NotSo, match="no Warmcoil home here"):
        backup(Home(tmp_path / "none"), tmp_path / "b.tar")
    with pytest.raises(StoreFault) as caught:
        backup(home, tmp_path / "none" / "b.tar")
    assert "No such file or directory" in str(caught.value)
    with pytest.raises(Unusable, match=r"cannot be read: No such file"):
        restore(tmp_path / "none.tar", Home(tmp_path / "again"))


def test_a_damaged_database_is_said(home: Home, tmp_path: Path) -> None:
    home.book.write_bytes(b"rubbish" * 1000)
    with pytest.raises(StoreFault) as caught:
        backup(home, tmp_path / "b.tar")
    assert str(home.book) in str(caught.value)
    assert not (tmp_path / "b.tar").exists()


def test_a_home_that_is_there_is_never_overwritten(home: Home, tmp_path: Path) -> None:
    backup(home, tmp_path / "b.tar")
    before = home.settings.stat().st_mtime_ns
    with pytest.raises(NotSo, match="something here already"):
        restore(tmp_path / "b.tar", home)
    assert home.settings.stat().st_mtime_ns == before


def test_a_home_makes_room_when_told_and_is_kept_aside(home: Home, tmp_path: Path) -> None:
    backup(home, tmp_path / "b.tar", now_ms=lambda: 1_700_000_000_123)
    home.folder.chmod(0o750)
    with Book(home.book) as book:
        book.put(Animal("later"))
    for number in (1, 2):
        done = restore(tmp_path / "b.tar", home, replace=True)
        assert done.taken_ms == 1_700_000_000_000
        assert done.moved_to == tmp_path / f"home.before-restore-{number}"
        assert content_of(home)[:2] == ["Juno", "0 30.0"]
        assert stat.S_IMODE(home.folder.stat().st_mode) == 0o750
    assert content_of(Home(tmp_path / "home.before-restore-1"))[:2] == ["Juno", "later"]


def test_an_empty_folder_and_a_link_to_one_may_become_a_home(home: Home, tmp_path: Path) -> None:
    backup(home, tmp_path / "b.tar")
    (tmp_path / "empty").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "empty")
    restore(tmp_path / "b.tar", Home(tmp_path / "link"))
    assert content_of(Home(tmp_path / "empty")) == content_of(home)
    assert (tmp_path / "link").is_symlink()


def test_any_flipped_byte_or_cut_restores_the_same_or_nothing(home: Home, tmp_path: Path) -> None:
    """Every block's header and some of its bytes; a tar's padding may be flipped unseen."""
    file, target = tmp_path / "b.tar", Home(tmp_path / "again")
    backup(home, file)
    whole = file.read_bytes()
    expected = content_of(home)
    chosen = random.Random(7)
    spoilt = [flipped(whole, chosen.randrange(len(whole))) for _ in range(40)]
    spoilt += [flipped(whole, place) for place in range(0, 2048, 97)]
    spoilt += [whole[: chosen.randrange(len(whole) - 10_240)] for _ in range(10)]
    refused = 0
    for content in spoilt:
        file.write_bytes(content)
        text = refusal(file, target)
        if text is None:
            assert content_of(target) == expected
            shutil.rmtree(target.folder)
        else:
            refused += 1
            assert "\n" not in text
            assert not target.folder.exists()
    assert refused > 40


def flipped(whole: bytes, place: int) -> bytes:
    spoilt = bytearray(whole)
    spoilt[place] ^= 0x55
    return bytes(spoilt)


def refusal(file: Path, target: Home) -> str | None:
    """What the restore objects to, None when it was done."""
    try:
        restore(file, target)
    except Unusable as fault:
        return str(fault)
    return None


def forged(
    file: Path,
    name: str,
    *,
    said: bool = True,
    change: Callable[[tarfile.TarInfo], None] = lambda _: None,
) -> None:
    """A backup with one member too many, in every other way in order."""
    contents = {"warmcoil.toml": b"", name: b"x"}
    sums = {"warmcoil.toml": EMPTY_SHA256, name: X_SHA256}
    members = {
        member: {"bytes": len(contents[member]), "sha256": sums[member]}
        for member in contents
        if said or member != name
    }
    manifest = {"format": 1, "taken": "2026-01-01T00:00:00Z", "members": members}
    with tarfile.open(file, "w") as tar:
        for member, content in {"manifest.json": json.dumps(manifest).encode(), **contents}.items():
            info = tarfile.TarInfo(member)
            info.size = len(content)
            if member == name:
                change(info)
            tar.addfile(info, io.BytesIO(content))


EMPTY_SHA256 = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
"""SHA-256 of nothing (NIST's example values)."""
X_SHA256 = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"


@pytest.mark.parametrize(
    "name",
    [
        "../outside",
        "/etc/outside",
        "a/../../outside",
        "care/../../x.toml",
        "passwords",
        "care/.toml",
    ],
)
@pytest.mark.parametrize("said", [True, False])
def test_a_member_that_does_not_belong_there_is_refused(
    tmp_path: Path, name: str, said: bool
) -> None:
    file = tmp_path / "b.tar"
    forged(file, name, said=said)
    with pytest.raises(Unusable) as caught:
        restore(file, Home(tmp_path / "again"))
    assert str(caught.value) == (
        f"{file}: member {name!r} does not belong in a home; nothing was restored"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["b.tar"]


def as_link(info: tarfile.TarInfo) -> None:
    info.type, info.linkname, info.size = tarfile.SYMTYPE, "/etc/passwd", 0


@pytest.mark.parametrize(
    ("said", "change", "why"),
    [
        (True, as_link, "is not a file"),
        (False, lambda _: None, "is missing, or not named in its manifest"),
        (True, lambda info: setattr(info, "size", 0), "is damaged"),
    ],
)
def test_a_link_and_an_unnamed_and_a_short_member_are_refused(
    tmp_path: Path, said: bool, change: Callable[[tarfile.TarInfo], None], why: str
) -> None:
    file = tmp_path / "b.tar"
    forged(file, "book.db", said=said, change=change)
    with pytest.raises(Unusable) as caught:
        restore(file, Home(tmp_path / "again"))
    assert str(caught.value) == f"{file}: member 'book.db' {why}; nothing was restored"
    assert [p.name for p in tmp_path.iterdir()] == ["b.tar"]


def test_what_is_in_order_but_for_nothing_is_taken(tmp_path: Path) -> None:
    forged(tmp_path / "b.tar", "care/own.toml")
    restore(tmp_path / "b.tar", Home(tmp_path / "again"))
    assert (tmp_path / "again" / "care" / "own.toml").read_bytes() == b"x"


@pytest.mark.parametrize(
    ("manifest", "why"),
    [
        (b'{"format": 2}', "made by a newer Warmcoil"),
        (b'{"format": 1, "taken": "2026-01-01T00:00:00Z", "members": {}}', "it has no settings"),
        (b'{"format": 1, "members": []}', "its manifest cannot be read"),
        (b"[" * 100_000, "its manifest cannot be read"),
    ],
)
def test_a_manifest_that_cannot_be_used_is_one_line(
    tmp_path: Path, manifest: bytes, why: str
) -> None:
    file = tmp_path / "b.tar"
    with tarfile.open(file, "w") as tar:
        info = tarfile.TarInfo("manifest.json")
        info.size = len(manifest)
        tar.addfile(info, io.BytesIO(manifest))
    with pytest.raises(Unusable, match=why):
        restore(file, Home(tmp_path / "again"))


@pytest.mark.parametrize("content", [b"", b"rubbish" * 3000])
def test_what_is_no_backup_is_one_line(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "b.tar"
    file.write_bytes(content)
    with pytest.raises(Unusable) as caught:
        restore(file, Home(tmp_path / "again"))
    assert "\n" not in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["b.tar"]


def test_a_full_disk_leaves_nothing(home: Home, tmp_path: Path) -> None:
    """A limit on the size of files stands for the disk: the kernel refuses the write (EFBIG)."""
    code = (
        "import resource, signal, sys; from pathlib import Path; from collector.backup import *\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))\n"
        "try: backup(Home(Path(sys.argv[1])), Path(sys.argv[2]))\n"
        "except StoreFault as fault: print(fault)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(home.folder), str(tmp_path / "b.tar")],
        capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert len(done.stdout.splitlines()) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["home"]
