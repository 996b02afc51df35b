"""Files that were hurt: a byte turned over, an end cut off, another version; and backups.

A byte turned over may go unseen only where it changes nothing: all that can be asked of the file is
answered as before. (Pages in no use, the ends of pages, and what SQLite itself does not look at.)
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_check import check_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.outbox import Message, Urgency
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Transition
from collector.backup import backup, restore
from collector.book.check import check_book
from collector.readings import Quantity, Reading
from collector.store.check import check_archive, check_journal
from collector.store.journal import Journal, Receipt
from collector.store.moving import fingerprint
from collector.store.reader import Reader
from collector.store.repair import repair
from config.errors import StoreFault, Unusable
from config.home import Home
from tests.analysis.page import homes
from tests.faults.record import Promise, told
from tests.faults.recording import SOURCES

pytestmark = pytest.mark.timeout(900)

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]

EVER = (0, 2**62)
Answers = dict[str, list[tuple[object, ...]]]
CHECKS: dict[str, Callable[[Path], list[str]]] = {
    "readings/journal.db": check_journal,
    "readings/archive.db": check_archive,
    "book.db": check_book,
    "alarms.db": check_alarms,
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Weeks of readings, some of them not sealed yet, a book, alarms and their messages."""
    home = homes.make_home(tmp_path_factory.mktemp("whole") / "home")
    with closing(Journal(home.journal)) as journal:
        for n in range(200):
            at_ms = homes.NOW + n * 10_000
            some = [
                Reading(probe, Quantity.TEMPERATURE, at_ms, 25 + n % 64 / 16)
                for probe in ("warm", "cool", "room")
            ]
            journal.commit(some, [Receipt("mqtt", n, b"0123456789abcdef")])
    key = AlarmKey(Kind.WARM_SIDE_LOW, "left shelf")
    with AlarmStore(home.alarms) as store:
        for n in range(60):
            raised = n % 2 == 0
            state = State.UNACKNOWLEDGED if raised else State.NORMAL
            alarm = Alarm(key, state, Priority.HIGH, since_ms=n, raised_ms=n, value=25 + n / 16)
            cause = Cause.RAISED if raised else Cause.CLEARED
            transition = Transition(cause, homes.NOW + n, State.NORMAL, alarm)
            message = Message(f"r{n}", key, Urgency.HIGH, f"Warm side low {n}", "It is 25 °C there")
            store.record([transition], [message], ["a", "b"], homes.NOW + n)
    return home


def answers(path: Path) -> Answers:
    """All that can be asked of a file: every row of every table. Raises where one cannot be read.

    Of the store: what its reader says, and the receipts.
    """
    if path.parent.name == "readings":
        with Reader(path.with_name("journal.db"), path.with_name("archive.db")) as reader:
            found: Answers = {
                str(key): [fingerprint(reader.columns(key, *EVER))] for key in reader.series()
            }
        if path.name == "journal.db":
            with closing(Journal(path)) as journal:
                found["receipts"] = sorted((str(one),) for one in journal.receipts())
        return found
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as file:
        tables = [name for (name,) in file.execute("SELECT name FROM sqlite_schema WHERE sql > ''")]
        tables = [name for name in tables if not name.startswith("sqlite_")]
        kinds = dict(file.execute("SELECT name, type FROM sqlite_schema"))
        return {
            name: file.execute(f'SELECT * FROM "{name}"').fetchall()  # noqa: S608  # its own names
            for name in tables
            if kinds[name] == "table"
        }


def hurt(whole: Home, folder: Path) -> Home:
    shutil.copytree(whole.folder, folder)
    return Home(folder)


def turned(path: Path, chance: random.Random) -> None:
    """One byte of the file gets another value."""
    content = bytearray(path.read_bytes())
    at = chance.randrange(len(content))
    content[at] ^= chance.randrange(1, 256)
    path.write_bytes(content)


def same(path: Path, before: Answers) -> bool:
    try:
        return answers(path) == before
    except (sqlite3.Error, StoreFault, UnicodeDecodeError):
        return False


@pytest.mark.parametrize("name", CHECKS)
def test_a_byte_turned_over(
    name: str, whole: Home, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    chance = random.Random(7)
    before = answers(whole.folder / name)
    seen = unnoticed = 0
    changed = []
    tried = times(25, 400)
    for number in range(tried):
        home = hurt(whole, tmp_path / f"home {number}")
        path = home.folder / name
        turned(path, chance)
        if CHECKS[name](path):
            seen += 1
        elif same(path, before):
            unnoticed += 1
        else:
            changed.append(number)
        shutil.rmtree(home.folder)
    assert changed == []
    told(
        Promise.FOUND, f"a byte of {Path(name).name} turned over", tried=tried,
        of=f"changes unseen; {seen} seen, {unnoticed} changed nothing",
    )  # fmt: skip


@pytest.mark.parametrize("name", CHECKS)
def test_an_end_cut_off(
    name: str, whole: Home, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    chance = random.Random(8)
    tried = times(5, 60)
    for number in range(tried):
        home = hurt(whole, tmp_path / f"home {number}")
        path = home.folder / name
        size = path.stat().st_size
        with path.open("r+b") as file:
            file.truncate(chance.randrange(1, size))
        assert CHECKS[name](path), number
        shutil.rmtree(home.folder)
    told(Promise.FOUND, f"the end of {Path(name).name} cut off", tried=tried, of="unseen")


# Of the store there has been no earlier version; an earlier book is brought up by whoever reads it.
@pytest.mark.parametrize(
    ("name", "version"), [*((name, "later") for name in CHECKS), ("alarms.db", "earlier")]
)
def test_another_version_is_said_and_left(
    name: str, version: str, whole: Home, tmp_path: Path
) -> None:
    path = hurt(whole, tmp_path / "home").folder / name
    with closing(sqlite3.connect(path)) as file:
        (number,) = file.execute("PRAGMA user_version").fetchone()
        file.execute(f"PRAGMA user_version = {number + (1 if version == 'later' else -1)}")
        file.execute("PRAGMA journal_mode = DELETE")
    before = path.read_bytes()
    (fault,) = CHECKS[name](path)
    wanted = "written by a newer Warmcoil" if version == "later" else "of an earlier version"
    assert wanted in fault
    assert path.read_bytes() == before
    told(Promise.FOUND, f"{Path(name).name} of a {version} version", tried=1, of="unsaid")


def seen(home: Home) -> set[tuple[str, int, float]]:
    """Every reading: of what, when, its raw value."""
    with Reader(home.journal, home.archive) as reader:
        return {
            (str(key), at_ms, raw)
            for key in reader.series()
            for columns in (reader.columns(key, *EVER),)
            for at_ms, raw in zip(columns.at_ms, columns.raw, strict=True)
        }


# ---- repair --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["readings/journal.db", "readings/archive.db"])
def test_repair_saves_the_rest_and_names_what_is_lost(
    name: str, whole: Home, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    chance = random.Random(9)
    before = seen(whole)
    damaged = lost = 0
    for number in range(times(5, 1_000)):
        home = hurt(whole, tmp_path / f"home {number}")
        path = home.folder / name
        for _ in range(chance.choice((1, 1, 1, 5, 40))):
            turned(path, chance)
        if CHECKS[name](path):
            damaged += 1
            said = repair(home.journal, home.archive)
            assert CHECKS[name](path) == []
            after = seen(home)
            # Nothing is made up; under a name that was hit, readings are where it is said.
            assert after <= before or any("is called" in line for line in said), (number, said)
            gone = before - after
            lost += len(gone)
            named = [line for line in said if line.startswith("lost: ")]
            assert bool(named) or not gone, (number, said)
        shutil.rmtree(home.folder)
    assert damaged
    told(
        Promise.FOUND, f"1, 5 or 40 bytes of {Path(name).name} turned over, then `repair`",
        tried=damaged, lost=lost,
        of=f"readings of {damaged * len(before):,}, never without a line that some are lost",
    )  # fmt: skip


# ---- backup --------------------------------------------------------------------------------------

KINDS = (
    "readings", "enclosures", "animals", "placements", "meals", "weights", "handling", "sheds",
    "looks", "droppings",
)  # fmt: skip
ASKED = (
    ("review", "--json", "--at", "2026-04-06T12:00:00Z"),
    ("alarms", "--json", "--all"),
    ("pattern", "--json"),
    ("history",),
    *(("export", kind) for kind in KINDS),
)


def asked(home: Home, *words: str) -> bytes:
    """What a command says, byte for byte."""
    done = subprocess.run(
        [*WARMCOIL, *words, "--home", str(home.folder)], capture_output=True, check=False,
        timeout=100, cwd=SOURCES,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b""), words
    return done.stdout


def test_a_restored_backup_answers_byte_for_byte(
    whole: Home, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    again, file = Home(tmp_path / "again"), tmp_path / "backup.tar"
    backup(whole, file)
    restore(file, again)
    commands = ASKED[: times(2, len(ASKED))]
    for words in commands:
        before = asked(whole, *words)
        assert len(before) > 20, words
        assert asked(again, *words) == before, words
    for name in CHECKS:
        assert answers(again.folder / name) == answers(whole.folder / name)
    told(Promise.BACKUP, "backup and restore", tried=len(commands), of="answers that differ")


def test_a_byte_of_a_backup_turned_over_is_refused(
    whole: Home, tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    """Of every one that changes what would be restored; then nothing is restored."""
    chance, file = random.Random(10), tmp_path / "backup.tar"
    backup(whole, file)
    content = file.read_bytes()
    tried = times(20, 300)
    refused = 0
    for number in range(tried):
        at = chance.randrange(len(content))
        file.write_bytes(content[:at] + bytes([content[at] ^ 0x10]) + content[at + 1 :])
        home = Home(tmp_path / f"again {number}")
        try:
            restore(file, home)
        except Unusable:
            refused += 1
            assert not home.folder.exists()
        else:
            for name in CHECKS:
                there, here = home.folder / name, whole.folder / name
                assert answers(there) == answers(here), number
            shutil.rmtree(home.folder)
    assert refused > tried / 2
    told(
        Promise.FOUND, "a byte of a backup turned over, then `restore`", tried=tried,
        of=f"changes unseen; {refused} refused, the rest changed nothing",
    )  # fmt: skip
