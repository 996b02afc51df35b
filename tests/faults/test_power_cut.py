"""The power goes at any call: images of the files with what was not synced lost, whole or in part.

What SQLite promises is in its own papers (sqlite.org/wal.html §10, sqlite.org/atomiccommit.html);
here it is what we make of it: which files are synced when, and in which order.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch.alarm_file import open_alarms
from collector.book.book import Book
from collector.book.check import check_book
from collector.readings import Quantity, Reading
from collector.store.check import check
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive
from tests.faults.power import Card, cuts
from tests.faults.record import Promise, told
from tests.faults.recording import events, needs_strace, run_recorded, script

pytestmark = [needs_strace, pytest.mark.timeout(600)]

EVER = (-(2**62), 2**62)
SYNC_S = 30
STEP_MS = 20_000_000

# A collector's time, counted and not waited for: numbered readings, a commit every second in haste,
# none for half a minute, one every 10 s; sometimes a sealing or a new start. It says the time and
# up to which number it has committed.
COLLECTOR = """
import os, random, sys
from pathlib import Path
from collector.readings import Quantity, Reading
from collector.store.journal import Journal, Receipt
from collector.store.sealing import seal
from collector.store.sqlite_archive import SqliteArchive

folder, rng, steps = Path(sys.argv[1]), random.Random(int(sys.argv[2])), int(sys.argv[3])
now, number, due = 0.0, 0, 0.0
journal = Journal(folder / "journal.db", sync_seconds=30, monotonic=lambda: now)
archive = SqliteArchive(folder / "archive.db")
for step in range(steps):
    now += 1.0
    if now >= due and not 30 <= step % 100 < 60:
        due = now + (1.0 if step % 100 < 30 else 10.0) + rng.uniform(0, 0.05)
        some = [
            Reading(f"probe {n % 5}", Quantity.TEMPERATURE, 20_000_000 * n, 20 + n % 160 / 16)
            for n in range(number, number + rng.randint(1, 60))
        ]
        number += len(some)
        journal.commit(some, [Receipt("mqtt", step, b"digest")])
    elif journal.sync_due():
        journal.commit([])
    os.write(1, b"%d %d\\n" % (now, number))
    if rng.random() < 0.02:
        seal(journal, archive)
    if rng.random() < 0.01:
        journal.close()
        archive.close()
        journal = Journal(folder / "journal.db", sync_seconds=30, monotonic=lambda: now)
        archive = SqliteArchive(folder / "archive.db")
"""


def folder_of(tmp_path: Path, name: str) -> Path:
    made = tmp_path / name
    made.mkdir()
    return made


def numbers(folder: Path) -> list[int]:
    """The numbers of all readings that a reader sees."""
    with Reader(folder / "journal.db", folder / "archive.db") as reader:
        series = [reader.columns(key, *EVER) for key in reader.series()]
    return sorted(at_ms // STEP_MS for one in series for at_ms in one.at_ms)


def goes_on(folder: Path) -> float:
    """Open both files as a collector does, write, seal; how many seconds the opening took."""
    began_s = time.monotonic()
    with (
        closing(Journal(folder / "journal.db")) as journal,
        closing(SqliteArchive(folder / "archive.db")) as archive,
    ):
        took_s = time.monotonic() - began_s
        before = numbers(folder)
        journal.commit([Reading("new", Quantity.TEMPERATURE, 10**9 * STEP_MS, 1.0)])
        seal(journal, archive)
        assert numbers(folder) == [*before, 10**9]
    assert check(folder / "journal.db", folder / "archive.db") == []
    return took_s


def test_readings(tmp_path: Path, times: Callable[[int, int], int]) -> None:
    images = 0
    unsynced = lost = committed = 0
    oldest_s = opening_s = 0.0
    for seed in range(times(1, 6)):
        folder, log = folder_of(tmp_path, f"card {seed}"), tmp_path / "log"
        card, chance = Card(folder), random.Random(seed)
        run_recorded(script(COLLECTOR, str(folder), str(seed), str(times(300, 600))), log)
        for at, said in cuts(card, events(log, folder), times(20, 100), chance):
            image = tmp_path / f"image {seed} {images}"
            kind = at.image(chance, image)
            images += 1
            until = [tuple(map(int, line.split())) for line in said]
            now_s = until[-1][0] if until else 0
            synced = max((upto for second, upto in until if second <= now_s - SYNC_S), default=0)
            there = until[-1][1] if until else 0
            assert check(image / "journal.db", image / "archive.db") == [], (seed, images, kind)
            seen = numbers(image)
            assert seen == list(range(len(seen))), (seed, images, kind)
            assert len(seen) >= synced, (seed, images, kind)
            gone = [second for second, upto in until if upto > len(seen)]
            oldest_s = max(oldest_s, now_s - gone[0] if gone else 0)
            committed += there
            unsynced += at.unsynced() > 0
            lost += max(0, there - len(seen))
            opening_s = max(opening_s, goes_on(image))
    assert unsynced > images / 2  # else nothing would have been tried
    assert opening_s < 2
    told(
        Promise.SYNCED, "power cut, any unsynced write of journal and archive lost or torn",
        tried=images, lost=lost, of=f"readings of {committed:,}",
        note=f"the oldest lost was {oldest_s:.0f} s old",
    )  # fmt: skip
    told(
        Promise.OPENS, "power cut, any unsynced write of journal and archive lost or torn",
        tried=images, of="files", note=f"slowest opening {1000 * opening_s:.0f} ms",
    )  # fmt: skip


# ---- book and alarms: every entry is synced ------------------------------------------------------

KEEPER = """
import os, sys
from pathlib import Path
from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Weighing

path = Path(sys.argv[1]) / "book.db"
for n in range(6):
    with Book(path) as book:
        for k in range(10):
            book.put(Animal(f"animal {n}"))
            book.put(Weighing(f"animal {n}", 1_700_000_000_000 + k * 86_400_000, 1000 + k))
            os.write(1, b"animal %d %d\\n" % (n, 1000 + k))
"""
WATCH = """
import os, sys
from pathlib import Path
from contextlib import closing
from analysis.watch.alarm_file import open_alarms
from analysis.watch.alarm_store import AlarmStore
from analysis.watch.outbox import Message, Outbox, Urgency
from analysis.watch.states import AlarmKey, Kind

path, key = Path(sys.argv[1]) / "alarms.db", AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
for n in range(8):
    with AlarmStore(path) as store, closing(open_alarms(path)) as beside:
        for k in range(10):
            name, now = f"{n}-{k}", 1000 * (10 * n + k)
            store.record([], [Message(name, key, Urgency.HIGH, "t", "b")], ["a"], now)
            os.write(1, b"waiting %s\\n" % name.encode())
            if k % 3 == 0:
                outbox = Outbox(beside)
                while one := outbox.next_delivery("a", now):
                    outbox.begin(one, now)
                    outbox.delivered(one, now)
                    os.write(1, b"delivered %s\\n" % one.reference.encode())
"""


def weighed(folder: Path) -> set[str]:
    with Book(folder / "book.db", read_only=True) as book:
        return {f"{one.animal} {one.mass_g:.0f}" for one in book.weighings()}


def outbox(folder: Path) -> set[str]:
    with closing(open_alarms(folder / "alarms.db")) as file:
        assert file.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        rows = file.execute("SELECT state, reference FROM delivery JOIN outbox USING (message)")
        kept = {f"{row[0]} {row[1]}" for row in rows}
    return kept | {f"waiting {name.split()[1]}" for name in kept}


@pytest.mark.parametrize(
    ("text", "seen", "promise", "what"),
    [
        (KEEPER, weighed, Promise.SYNCED, "entries of the record book"),
        (WATCH, outbox, Promise.ALARMS, "messages and notes of their delivery"),
    ],
    ids=["book", "alarms"],
)
def test_what_is_entered_is_entered(
    *, text: str, seen: Callable[[Path], set[str]], promise: Promise, what: str, tmp_path: Path,
    times: Callable[[int, int], int],
) -> None:  # fmt: skip
    folder, log = folder_of(tmp_path, "card"), tmp_path / "log"
    card, chance = Card(folder), random.Random(1)
    run_recorded(script(text, str(folder)), log)
    lost = entered = 0
    images = times(30, 300)
    for number, (at, said) in enumerate(cuts(card, events(log, folder), images, chance)):
        image = tmp_path / f"image {number}"
        kind = at.image(chance, image)
        there = seen(image)
        missing = set(said) - there
        assert not missing, (number, kind)
        assert check_book(image / "book.db") == []
        lost += len(missing)
        entered += len(said)
    told(
        promise, f"power cut, any unsynced write of {what} lost or torn", tried=images, lost=lost,
        of=f"{what} of {entered:,}",
    )  # fmt: skip
    told(Promise.OPENS, f"power cut while {what} are written", tried=images, of="files")
