"""`check` names every fault and changes nothing; `repair` saves what can be saved."""

from __future__ import annotations

import hashlib
import random
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from collector.readings import Reading
from collector.store.check import check
from collector.store.codec import pack
from collector.store.columns import DAY_MS
from collector.store.journal import Journal, Receipt
from collector.store.reader import Reader
from collector.store.rebuild import rebuild_archive
from collector.store.repair import repair
from collector.store.sqlite_archive import SqliteArchive
from config.errors import StoreFault
from tests.collector.store.series import COOL, DAMP, DAY_0_MS, KEYS, WARM, believable

EVER = (-(2**62), 2**62)
DAYS = 6


class Files:
    """A store of three series of six days, and thirty commits that are not sealed."""

    def __init__(self, folder: Path) -> None:
        self.journal = folder / "journal.db"
        self.archive = folder / "archive.db"
        self.fill()

    def fill(self) -> None:
        with closing(SqliteArchive(self.archive)) as archive:
            for n, key in enumerate(KEYS):
                archive.write({key: believable(DAYS * 288, every_ms=300_000, seed=n)})
        with closing(Journal(self.journal)) as journal:
            for n in range(30):
                journal.commit(
                    [Reading(WARM.probe, WARM.quantity, DAY_0_MS + DAYS * DAY_MS + n, 31.0)],
                    [Receipt("mqtt", n, b"x")],
                )

    def faults(self) -> list[str]:
        return check(self.journal, self.archive)

    def mend(self) -> list[str]:
        return repair(self.journal, self.archive)

    def seen(self) -> list[Reading]:
        with Reader(self.journal, self.archive) as reader:
            return [one for key in KEYS for one in reader.columns(key, *EVER).readings(key)]

    def digest(self) -> str:
        return hashlib.sha256(self.archive.read_bytes() + self.journal.read_bytes()).hexdigest()

    def spoil(self, path: Path, statement: str, *values: object) -> None:
        with closing(sqlite3.connect(path)) as file:
            assert file.execute(statement, values).rowcount == 1
            file.commit()


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path)


def test_a_whole_store_has_no_faults_and_is_left_as_it_is(files: Files) -> None:
    before = files.digest()
    assert files.faults() == []
    assert files.mend() == [
        f"{files.archive}: whole; left as it is",
        f"{files.journal}: whole; left as it is",
    ]
    assert files.digest() == before


def test_a_store_that_does_not_exist_has_no_faults(tmp_path: Path) -> None:
    missing = tmp_path / "no" / "journal.db"
    assert check(missing, missing.with_name("archive.db")) == []
    assert repair(missing, missing.with_name("archive.db")) == []
    assert not missing.parent.exists()


def other_day(_: bytes) -> bytes:
    return pack(believable(288, start_ms=DAY_0_MS + 3 * DAY_MS))


def flipped(packed: bytes) -> bytes:
    return packed[:50] + bytes([packed[50] ^ 4]) + packed[51:]


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda p: (flipped(p), zlib.crc32(p)), "a damaged block: its checksum does not fit"),
        (lambda p: (flipped(p), zlib.crc32(flipped(p))), "a damaged block"),
        (lambda p: (p[:60], zlib.crc32(p[:60])), "a damaged block"),
        (lambda _: (b"", 0), "a block of layout nothing"),
        (
            lambda p: (other_day(p), zlib.crc32(other_day(p))),
            "its count, first or last time is not that of its readings",
        ),
    ],
)
def test_a_bad_block_is_named_by_series_and_day_and_the_rest_is_saved(
    files: Files, spoil: Callable[[bytes], tuple[bytes, int]], fault: str
) -> None:
    day = DAY_0_MS // DAY_MS + 2
    with closing(sqlite3.connect(files.archive)) as file:
        number, packed = file.execute(
            "SELECT series_id, packed FROM block JOIN series ON id = series_id "
            "WHERE day = ? AND probe = ?",
            (day, COOL.probe),
        ).fetchone()
    whole = files.seen()
    files.spoil(
        files.archive,
        "UPDATE block SET packed = ?, crc32 = ? WHERE day = ? AND series_id = ?",
        *spoil(packed),
        day,
        number,
    )
    (found,) = files.faults()
    assert found.startswith(f"{files.archive}: {COOL.probe} temperature, 2024-10-06: {fault}")
    before = files.digest()
    files.faults()
    assert files.digest() == before

    done = files.mend()
    assert done[0] == f"lost: {COOL.probe} temperature, 2024-10-06"
    assert done[1] == f"{files.archive}: mended; as it was it is in {files.archive}.before-repair-1"
    assert files.faults() == []
    assert files.seen() == [one for one in whole if one.key != COOL or one.at_ms // DAY_MS != day]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE block SET count = count + 1 WHERE series_id = 1 AND day = 20000",
        "UPDATE block SET first_ms = first_ms - 1 WHERE series_id = 1 AND day = 20001",
        "UPDATE block SET last_ms = last_ms + 1 WHERE series_id = 1 AND day = 20002",
        "UPDATE block SET crc32 = crc32 + 1 WHERE series_id = 1 AND day = 20003",
    ],
)
def test_a_wrong_note_about_a_block_is_mended_without_loss(files: Files, statement: str) -> None:
    whole = files.seen()
    files.spoil(files.archive, statement)
    assert len(files.faults()) == 1
    assert files.mend()[0] == f"{files.archive}: mended; nothing is lost"
    assert files.faults() == []
    assert files.seen() == whole
    assert [path.name for path in files.archive.parent.glob("archive.db*")] == ["archive.db"]


@pytest.mark.parametrize(
    ("name", "page_bytes", "leaf"), [("archive", 1024, 10), ("journal", 512, 13)]
)
def test_rows_that_a_page_no_longer_counts_are_not_said_to_be_there(
    files: Files, name: str, page_bytes: int, leaf: int
) -> None:
    """Every row that is left reads well, and no search meets a fault."""
    whole, path = files.seen(), getattr(files, name)
    content = bytearray(path.read_bytes())
    pages = range(page_bytes, len(content), page_bytes)
    at = next(at for at in reversed(pages) if content[at] == leaf and content[at + 4] > 2)
    content[at + 4] -= 1  # how many rows the page has
    path.write_bytes(content)
    assert files.faults()
    done = "\n".join(files.mend())
    assert len(files.seen()) < len(whole)
    assert "lost: rows that nothing leads to any more, if there were any" in done
    assert f"{path}: mended; as it was it is in {path}.before-repair-1" in done
    assert files.faults() == []


def test_a_day_that_is_no_number_any_more_is_said_and_the_rest_saved(files: Files) -> None:
    with closing(sqlite3.connect(files.archive)) as file:
        (strict,) = file.execute("SELECT sql FROM sqlite_schema WHERE name = 'block'").fetchone()
        for sql in (strict.replace("STRICT, ", ""), strict):
            file.execute("PRAGMA writable_schema = ON")
            file.execute("UPDATE sqlite_schema SET sql = ? WHERE name = 'block'", (sql,))
            file.execute("PRAGMA writable_schema = RESET")
            file.execute(
                "UPDATE block SET day = 'x' WHERE day = ? AND series_id = 1",
                (DAY_0_MS // DAY_MS + DAYS - 1,),
            )
            file.commit()
    assert "a day that cannot be told" in "\n".join(files.faults())
    assert "a day that cannot be told" in "\n".join(files.mend())
    assert files.faults() == []
    assert len({(one.key, one.at_ms // DAY_MS) for one in files.seen()}) == 3 * DAYS


@pytest.mark.parametrize("order", [1, -1])
def test_of_two_rows_of_a_day_the_whole_one_is_saved(tmp_path: Path, order: int) -> None:
    one = believable(288, seed=1)
    with closing(sqlite3.connect(":memory:")) as file:
        file.executescript(
            "CREATE TABLE series (id INTEGER PRIMARY KEY, probe, quantity, "
            "UNIQUE (probe, quantity));"
            "CREATE TABLE block (series_id, day, packed);"
            "CREATE TABLE hours (series_id, day, packed)"
        )
        file.execute("INSERT INTO series VALUES (1, ?, ?)", (WARM.probe, WARM.quantity.value))
        rows = [(1, DAY_0_MS // DAY_MS, packed) for packed in (flipped(pack(one)), pack(one))]
        file.executemany("INSERT INTO block VALUES (?, ?, ?)", rows[::order])
        said = list(rebuild_archive(file, tmp_path / "new.db"))
    assert len(said) == 1  # the other row may have been of another day
    with closing(SqliteArchive(tmp_path / "new.db")) as archive:
        assert archive.columns(WARM, *EVER) == one


def test_blocks_of_nobody_and_quantities_nobody_knows_are_named(files: Files) -> None:
    files.spoil(files.archive, "UPDATE series SET quantity = 'courage' WHERE probe = ?", DAMP.probe)
    files.spoil(files.archive, "DELETE FROM series WHERE probe = ?", COOL.probe)
    faults = "\n".join(files.faults())
    assert "'courage' is no quantity" in faults
    assert "which is not listed, 2024-10-04: nobody knows whose it is" in faults
    done = "\n".join(files.mend())
    assert f"lost: {DAYS} days of series 2, whose name cannot be read" in done
    assert files.faults() == []
    assert {one.key for one in files.seen()} == {WARM}


def test_a_bad_row_of_the_journal_is_named_and_the_others_saved(files: Files) -> None:
    whole = files.seen()
    last = max(one.at_ms for one in whole if one.key == WARM)
    files.spoil(files.journal, "UPDATE entry SET packed = zeroblob(20) WHERE id = 30")
    assert [line.split(": ", 1)[1] for line in files.faults()] == [
        "row 30: an entry of layout 0, where this Warmcoil knows 1"
    ]
    assert "lost: row 30 of the journal: an entry of layout 0" in "\n".join(files.mend())
    assert files.faults() == []
    assert files.seen() == [one for one in whole if one.at_ms != last]
    with closing(Journal(files.journal)) as journal:
        assert len(journal.receipts()) == 29


def test_repair_stops_for_a_running_collector(files: Files) -> None:
    with closing(Journal(files.journal)), pytest.raises(StoreFault, match="stop it first"):
        files.mend()


def test_what_is_no_database_any_more_is_put_aside(files: Files) -> None:
    files.archive.write_bytes(b"\0" * 4096 + files.archive.read_bytes()[4096:])
    (fault,) = files.faults()
    assert fault.startswith(f"{files.archive}: ")
    done = files.mend()
    assert done[0].startswith("lost: all of it: ")
    assert files.faults() == []
    assert Path(f"{files.archive}.before-repair-1").exists()
    assert {one.key for one in files.seen()} == {WARM}  # the journal's


def damage_page(path: Path, rng: random.Random, page_bytes: int) -> int:
    content = bytearray(path.read_bytes())
    page = rng.randrange(1, len(content) // page_bytes)
    content[page * page_bytes : page * page_bytes + 64] = rng.randbytes(64)
    path.write_bytes(content)
    return page


def rounds(files: Files, tries: int, seed: int) -> None:
    """Spoil a page of each file: check must notice, repair save and name, nothing be made up."""
    rng = random.Random(seed)
    whole = files.seen()
    known = set(whole)
    for _ in range(tries):
        damage_page(files.archive, rng, 1024)
        damage_page(files.journal, rng, 512)
        faults = files.faults()
        done = files.mend()
        assert files.faults() == []
        saved = files.seen()
        assert known.issuperset(saved)
        if len(saved) < len(whole):
            assert faults
            assert any(line.startswith("lost: ") for line in done)
        for path in files.archive.parent.glob("*.db*"):
            path.unlink()
        files.fill()


def test_a_spoilt_page_costs_what_was_on_it_and_no_more_is_made_up(files: Files) -> None:
    rounds(files, tries=8, seed=1)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(20))
def test_many_spoilt_pages(files: Files, seed: int) -> None:
    rounds(files, tries=50, seed=seed)


def test_every_flipped_byte_of_an_archive_is_noticed_or_harmless(tmp_path: Path) -> None:
    path = tmp_path / "archive.db"
    with closing(SqliteArchive(path)) as archive:
        archive.write({WARM: believable(300, every_ms=300_000)})
        whole = archive.columns(WARM, *EVER)
    sound = path.read_bytes()
    rng = random.Random(3)
    used = [place for place, byte in enumerate(sound) if byte]
    noticed = 0
    for place in rng.sample(used, 150):
        for beside in tmp_path.glob("archive.db-*"):
            beside.unlink()
        path.write_bytes(sound[:place] + bytes([sound[place] ^ 0xFF]) + sound[place + 1 :])
        if check(tmp_path / "journal.db", path):
            noticed += 1
        else:
            with closing(SqliteArchive(path, read_only=True)) as archive:
                assert archive.columns(WARM, *EVER) == whole
    assert noticed > 100
