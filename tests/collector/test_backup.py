"""One file holds everything, and what comes back is the same; a damaged file restores nothing."""

from __future__ import annotations

import io
import json
import tarfile
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
from collector.store.sqlite_archive import SqliteArchive
from config.errors import NotSo, WarmcoilError
from config.home import Home

KEY = SeriesKey("p", Quantity.TEMPERATURE)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = Home(tmp_path / "home")
    made.readings.mkdir(parents=True)
    made.settings.write_text('time_zone = "Europe/Lisbon"\n', encoding="utf-8")
    with Book(made.book) as book:
        book.put(Animal("Juno"))
    with closing(SqliteArchive(made.archive)) as archive:
        archive.write(Columns.of(Reading("p", KEY.quantity, at, 30.0) for at in range(0, 900, 10)))
    return made


def test_a_backup_taken_while_it_runs_gives_the_same_home(home: Home, tmp_path: Path) -> None:
    with closing(Journal(home.journal)) as journal:
        journal.commit([Reading("p", KEY.quantity, 1000, 31.5)])
        backup(home, tmp_path / "b.tar")
    again = Home(tmp_path / "again")
    restore(tmp_path / "b.tar", again)
    assert again.settings.read_text(encoding="utf-8") == home.settings.read_text(encoding="utf-8")
    with Book(again.book, read_only=True) as book:
        assert [a.animal for a in book.animals()] == ["Juno"]
    with Reader(again.journal, again.archive) as reader:
        columns = reader.columns(KEY, 0, 10_000)
    assert len(columns) == 91
    assert columns.values()[-1] == 31.5


def test_a_home_that_is_there_is_never_overwritten(home: Home, tmp_path: Path) -> None:
    backup(home, tmp_path / "b.tar")
    before = home.settings.stat().st_mtime_ns
    with pytest.raises(NotSo, match="something here already"):
        restore(tmp_path / "b.tar", home)
    assert home.settings.stat().st_mtime_ns == before


@pytest.mark.parametrize("at", [0.05, 0.5, 0.9])
def test_a_flipped_byte_or_a_cut_file_restores_nothing(
    home: Home, tmp_path: Path, at: float
) -> None:
    file = tmp_path / "b.tar"
    backup(home, file)
    whole = file.read_bytes()
    end = 10_240 + home.archive.stat().st_size  # beyond it, a tar is padding
    flipped = bytearray(whole)
    flipped[int(min(end, len(whole)) * at)] ^= 0x55
    for content in (bytes(flipped), whole[: int(len(whole) * at)]):
        if content == whole:
            continue
        file.write_bytes(content)
        target = Home(tmp_path / "again")
        text = restored(file, target)
        if text is None:  # the flip fell into a tar's padding: then what came back is whole
            with Book(target.book, read_only=True) as book:
                names = [a.animal for a in book.animals()]
            assert names == ["Juno"]
            return
        assert "\n" not in text
        assert not target.folder.exists()


def restored(file: Path, target: Home) -> str | None:
    """What the restore objects to, None when it was done."""
    try:
        restore(file, target)
    except WarmcoilError as fault:
        return str(fault)
    return None


@pytest.mark.parametrize("name", ["../outside", "/etc/outside", "a/../../outside"])
def test_a_member_that_leads_outside_is_refused(tmp_path: Path, name: str) -> None:
    members = {"warmcoil.toml": {"sha256": "x"}, name: {"sha256": "x"}}
    manifest = json.dumps({"format": 1, "members": members}).encode()
    file = tmp_path / "b.tar"
    with tarfile.open(file, "w") as tar:
        for member, content in (("manifest.json", manifest), (name, b"x")):
            info = tarfile.TarInfo(member)
            info.size = len(content)
            tar.addfile(info, io.BytesIO(content))
    with pytest.raises(WarmcoilError):
        restore(file, Home(tmp_path / "again"))
    assert not (tmp_path / "again").exists()
    assert not (tmp_path / "outside").exists()


@pytest.mark.parametrize("content", [b"", b"rubbish" * 3000])
def test_what_is_no_backup_is_one_line(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "b.tar"
    file.write_bytes(content)
    with pytest.raises(WarmcoilError) as caught:
        restore(file, Home(tmp_path / "again"))
    assert "\n" not in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["b.tar"]
