"""SIGKILL or a power cut at any single call that changes a file, of all that works on whole files.

The calls of a run are recorded once. Then the command is run again over the same files and killed
as it enters one of them; and from the recording, images are made of what a power cut leaves. What
no keeper had been told is done may be undone; nothing else is.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path

import pytest

from analysis.checking import check_home
from analysis.watch.alarm_file import open_alarms
from analysis.watch.schema import STEPS as ALARM_STEPS
from collector.backup import backup, restore, verify
from collector.book.book import Book
from collector.book.records import Animal, Weighing
from collector.book.schema import STEPS as BOOK_STEPS
from collector.exchange import import_file
from collector.readings import Quantity, Reading
from collector.store.check import check
from collector.store.columns import Columns
from collector.store.journal import Journal, Receipt
from collector.store.migrations import ARCHIVE, JOURNAL, Schema
from collector.store.repair import repair
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from collector.store.sqlite_file import open_for_writing
from config.home import Home
from config.settings import load_settings
from tests.collector_process import stored
from tests.faults.power import Card, cuts
from tests.faults.record import Promise, told
from tests.faults.recording import calls_of, events, needs_strace, run_killed, run_recorded, script

pytestmark = [needs_strace, pytest.mark.timeout(600)]

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]
T = Quantity.TEMPERATURE
MINUTE_MS = 60_000
BEGIN_MS = 1_735_689_600_000
"""1 January 2025, midnight UTC."""


def reading(number: int) -> Reading:
    return Reading(f"probe {number % 3}", T, BEGIN_MS + number * MINUTE_MS, 25 + number % 97 / 16)


def numbers(home: Home) -> list[int]:
    """The numbers of all readings that a reader sees."""
    return sorted((one.at_ms - BEGIN_MS) // MINUTE_MS for one in stored(home))


def furnished(folder: Path) -> Home:
    """A home with 600 readings in the archive, 160 in the journal, two animals and settings."""
    home = Home(folder)
    folder.mkdir(parents=True)
    home.settings.write_text('time_zone = "Europe/Lisbon"\n', "utf-8")
    with closing(Journal(home.journal)) as journal, closing(SqliteArchive(home.archive)) as archive:
        for n in range(0, 760, 10):
            journal.commit([reading(k) for k in range(n, n + 10)], [Receipt("mqtt", n, b"x")])
        seal(journal, archive)
    with Book(home.book) as book:
        for name in ("Tove", "Juno"):
            book.put(Animal(name))
            book.put(Weighing(name, BEGIN_MS, 1500.0))
    open_alarms(home.alarms).close()
    return home


def no_faults(home: Home) -> None:
    assert check_home(home, load_settings(home)).faults == []


@dataclass(frozen=True)
class Work:
    """Something done to the files of `prepare`d folders, and what must be so after a kill."""

    name: str
    prepare: Callable[[Path], object]
    command: Callable[[Path], list[str]]
    settle: Callable[[Path], int]
    """Asserts what must hold, finishes the work as a keeper would, asserts again; how many
    readings or entries it looked for."""
    of: str = "readings"
    promise: Promise = Promise.KEPT


def warmcoil(*words: str) -> Callable[[Path], list[str]]:
    """The command over the home in a folder; {} stands for the folder."""
    return lambda folder: [
        *WARMCOIL, *(word.format(folder) for word in words), "--home", f"{folder}/home",
    ]  # fmt: skip


# ---- import --------------------------------------------------------------------------------------

IMPORTED = range(760, 1400)


def before_import(folder: Path) -> None:
    furnished(folder / "home")
    rows = [
        f"{time.strftime('%Y-%m-%dT%H:%M:%SZ', time.gmtime(one.at_ms / 1000))},{one.probe},"
        f"temperature,{one.raw},Cel\n"
        for one in map(reading, IMPORTED)
    ]
    text = "time,probe,quantity,value,unit\n" + "".join(rows)
    (folder / "readings.csv").write_text(text, "utf-8")
    rows = [f"Tove,2025-02-{day:02d}T12:00:00Z,{1500 + day},,\n" for day in range(1, 29)]
    text = "animal,time,mass_g,length_cm,midbody_mm\n" + "".join(rows)
    (folder / "weights.csv").write_text(text, "utf-8")


def after_import(folder: Path) -> int:
    home = Home(folder / "home")
    assert numbers(home) in (list(range(760)), list(range(1400)))
    no_faults(home)
    take_in(home, "readings")
    assert numbers(home) == list(range(1400))
    return 1400


def after_import_of_weights(folder: Path) -> int:
    home = Home(folder / "home")
    with Book(home.book, read_only=True) as book:
        assert len(book.weighings()) in (2, 30)
    no_faults(home)
    take_in(home, "weights")
    with Book(home.book, read_only=True) as book:
        assert len(book.weighings()) == 30
    return 30


def take_in(home: Home, kind: str) -> None:
    with Book(home.book) as book, closing(SqliteArchive(home.archive)) as archive:
        file = home.folder.parent / f"{kind}.csv"
        import_file(kind, file, book=book, archive=archive, settings=load_settings(home))


# ---- backup and restore --------------------------------------------------------------------------


def before_backup(folder: Path) -> None:
    """A backup of yesterday, and a home that has gone on since."""
    home = furnished(folder / "home")
    backup(home, folder / "backup.tar")
    with closing(Journal(home.journal)) as journal:
        journal.commit([reading(760)])


def after_backup(folder: Path) -> int:
    verify(folder / "backup.tar")
    restore(folder / "backup.tar", Home(folder / "again"))
    assert numbers(Home(folder / "again")) in (list(range(760)), list(range(761)))
    no_faults(Home(folder / "again"))
    assert numbers(Home(folder / "home")) == list(range(761))
    no_faults(Home(folder / "home"))
    return 760


def before_restore(folder: Path) -> None:
    home = furnished(folder / "home")
    backup(home, folder / "backup.tar")
    shutil.rmtree(home.folder)


def after_restore(folder: Path) -> int:
    home = Home(folder / "home")
    if not home.folder.exists():
        restore(folder / "backup.tar", home)
    assert numbers(home) == list(range(760))
    no_faults(home)
    return 760


REPAIRING = """
import sys
from pathlib import Path
from collector.store.repair import repair
readings = Path(sys.argv[1], "home/readings")
repair(readings / "journal.db", readings / "archive.db")
"""

# ---- repair --------------------------------------------------------------------------------------


def before_repair(folder: Path) -> None:
    """Files as a kill leaves them, with much still ahead of them, and damage in both."""
    home = furnished(folder / "made")
    there = Home(folder / "home")
    shutil.copytree(home.folder, there.folder)
    with closing(Journal(home.journal)) as journal, closing(SqliteArchive(home.archive)) as archive:
        for n in range(760, 1500, 10):
            journal.commit([reading(k) for k in range(n, n + 10)])
        archive.write({reading(2001).key: ONE_DAY})
        with closing(sqlite3.connect(home.journal)) as file:
            file.execute("UPDATE entry SET packed = x'00' WHERE id = 70")  # 690 to 699
            file.commit()
        with closing(sqlite3.connect(home.archive)) as file:
            file.execute("UPDATE block SET crc32 = crc32 + 1 WHERE series_id = 1")
            file.commit()
        for path in home.readings.iterdir():
            shutil.copy(path, there.readings)
    assert (there.readings / "journal.db-wal").stat().st_size > 10_000
    shutil.rmtree(home.folder)


ONE_DAY = Columns.of([reading(k) for k in range(2001, 2400, 3)])[reading(2001).key]
REPAIRED = sorted({*range(1500), *range(2001, 2400, 3)} - {*range(690, 700)})


def after_repair(folder: Path) -> int:
    home = Home(folder / "home")
    repair(home.journal, home.archive)
    assert numbers(home) == REPAIRED
    no_faults(home)
    return len(REPAIRED)


# ---- sealing -------------------------------------------------------------------------------------

SEALING = """
import sys
from pathlib import Path
from collector.store.journal import Journal
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
journal = Journal(Path(sys.argv[1], "home/readings/journal.db"))
archive = SqliteArchive(Path(sys.argv[1], "home/readings/archive.db"))
seal(journal, archive)
journal.close()
archive.close()
"""


def before_sealing(folder: Path) -> None:
    home = furnished(folder / "home")
    with closing(Journal(home.journal)) as journal:
        for n in range(760, 8_000, 40):
            journal.commit([reading(k) for k in range(n, n + 40)])


def after_sealing(folder: Path) -> int:
    home = Home(folder / "home")
    assert check(home.journal, home.archive) == []
    assert numbers(home) == list(range(8_000))
    with closing(Journal(home.journal)) as journal, closing(SqliteArchive(home.archive)) as archive:
        seal(journal, archive)
    assert numbers(home) == list(range(8_000))
    no_faults(home)
    return 8_000


# ---- a newer version of every file ---------------------------------------------------------------

LATER_JOURNAL, LATER_ARCHIVE = (
    replace(schema, steps=(*schema.steps, ("ALTER TABLE series ADD COLUMN note TEXT", *more)))
    for schema, more in (
        (JOURNAL, ("CREATE TABLE more AS SELECT id, packed FROM entry",)),
        (ARCHIVE, ("CREATE TABLE more AS SELECT * FROM block",)),
    )
)
UPGRADING = """
import sys
from pathlib import Path
from analysis.watch.alarm_file import open_alarms
from collector.book.file import open_for_writing
from collector.store import sqlite_file
from tests.faults.test_ended_at_work import LATER_ARCHIVE, LATER_JOURNAL
home = Path(sys.argv[1], "home")
sqlite_file.open_for_writing(home / "readings/archive.db", LATER_ARCHIVE, 0).close()
sqlite_file.open_for_writing(home / "readings/journal.db", LATER_JOURNAL, 0).close()
open_for_writing(home / "book.db").close()
open_alarms(home / "alarms.db").close()
"""


ANIMALS = (
    "INSERT INTO animal (animal) WITH RECURSIVE n (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n "
    "LIMIT 200) SELECT 'animal ' || n FROM n"
)


def before_upgrade(folder: Path) -> None:
    """Files of today's store, and the book and the alarms of their first versions."""
    home = furnished(folder / "home")
    home.book.unlink()
    home.alarms.unlink()
    message = (
        "INSERT INTO outbox (reference, kind, enclosure, probe, urgency, title, body, created_ms) "
        "VALUES ('r', 'k', 'Larch', '', 'high', 't', 'b', 1)"
    )
    waits = "INSERT INTO delivery (message, address, state, next_ms) VALUES (1, 'a', 'waiting', 1)"
    for path, step, rows in (
        (home.book, BOOK_STEPS[0], (ANIMALS,)),
        (home.alarms, ALARM_STEPS[0], (message, waits)),
    ):
        with closing(sqlite3.connect(path)) as file:
            for statement in ("PRAGMA journal_mode = WAL", *step, *rows, "PRAGMA user_version = 1"):
                file.execute(statement)
            file.commit()


def after_upgrade(folder: Path) -> int:
    home = Home(folder / "home")
    for path in (*home.folder.rglob("*.before-*"), *home.folder.rglob("*.version-*")):
        if not path.name.endswith((".unfinished", "-journal")):
            with closing(sqlite3.connect(path)) as copy:
                assert copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    kept = [(home.archive, ARCHIVE, LATER_ARCHIVE), (home.journal, JOURNAL, LATER_JOURNAL)]
    for path, now, later in kept:
        with closing(sqlite3.connect(path)) as file:
            version = file.execute("PRAGMA user_version").fetchone()[0]
            assert file.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        before = rows_of(path, now if version == now.version else later)
        assert rows_of(path, later) == before == rows_of_copy(path)
    with Book(home.book) as book:
        assert len(book.animals()) == 200
    with closing(open_alarms(home.alarms)) as file:
        assert file.execute("SELECT state FROM delivery").fetchone()[0] == "waiting"
    return 201


_COUNT_ROWS, _COUNT_BLOCKS = "SELECT count(*) FROM entry", "SELECT count(*) FROM block"


def rows_of(path: Path, schema: Schema) -> int:
    with closing(open_for_writing(path, schema, 0)) as file:
        count = _COUNT_ROWS if path.name.startswith("journal.db") else _COUNT_BLOCKS
        return int(file.execute(count).fetchone()[0])


def rows_of_copy(path: Path) -> int:
    schema = JOURNAL if path.name == "journal.db" else ARCHIVE
    return rows_of(path.with_name(f"{path.name}.version-{schema.version}"), schema)


WORKS = [
    Work(
        "an import of readings", before_import,
        warmcoil("import", "readings", "{}/readings.csv"), after_import,
    ),
    Work(
        "an import of weights", before_import,
        warmcoil("import", "weights", "{}/weights.csv"), after_import_of_weights, "entries",
    ),
    Work("a backup", before_backup, warmcoil("backup", "{}/backup.tar"), after_backup),
    Work("a restore", before_restore, warmcoil("restore", "{}/backup.tar"), after_restore),
    Work(
        "`repair`", before_repair,
        lambda folder: script(REPAIRING, str(folder)), after_repair,
    ),
    Work(
        "sealing", before_sealing,
        lambda folder: script(SEALING, str(folder)), after_sealing,
    ),
    Work(
        "a migration of every file", before_upgrade,
        lambda folder: script(UPGRADING, str(folder)), after_upgrade, "entries and rows",
    ),
]  # fmt: skip


def some_of(
    calls: list[tuple[str, int]], count: int, chance: random.Random
) -> list[tuple[str, int]]:
    """`count` calls, of each kind in turn, so that a rename among a thousand writes is met too."""
    kinds = sorted({name for name, _ in calls})
    chance.shuffle(kinds)
    of_kind = [[call for call in calls if call[0] == kind] for kind in kinds]
    for some in of_kind:
        chance.shuffle(some)
    return [call for turn in zip_longest(*of_kind) for call in turn if call is not None][:count]


@pytest.mark.parametrize("work", WORKS, ids=lambda work: work.name)
def test_ended_at_any_call(work: Work, tmp_path: Path, times: Callable[[int, int], int]) -> None:
    begun, folder, log = tmp_path / "begun", tmp_path / "card", tmp_path / "log"
    begun.mkdir()
    work.prepare(begun)
    shutil.copytree(begun, folder)
    card = Card(folder)
    run_recorded(work.command(folder), log)
    work.settle(folder)
    chance = random.Random(1)
    killed = looked_for = 0
    for name, nth in some_of(calls_of(log), times(1, 25), chance):
        shutil.rmtree(folder)
        shutil.copytree(begun, folder)
        killed += run_killed(work.command(folder), name, nth)
        looked_for += work.settle(folder)
    assert killed
    tell(work, "SIGKILL", killed, looked_for)
    looked_for = 0
    images = times(1, 40)
    for number, (at, _) in enumerate(cuts(card, events(log, folder), images, chance)):
        image = tmp_path / f"image {number}"
        at.image(chance, image)
        looked_for += work.settle(image)
        shutil.rmtree(image)
    tell(work, "power cut", images, looked_for)


def tell(work: Work, fault: str, tried: int, looked_for: int) -> None:
    """None was lost, or `settle` would have said so."""
    fault = f"{fault} at any call during {work.name}"
    told(work.promise, fault, tried=tried, of=f"{work.of} of {looked_for:,}")
    told(Promise.OPENS, fault, tried=tried, of="files")
