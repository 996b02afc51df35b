"""A simulated year of twelve enclosures under the watch: `python -m tests.campaigns.year`.

Real journal, archive, book and alarm file; the clocks are moved by hand. Prints one JSON line a
fault, then the figures: what was raised and how late, what was missed, what was false, alarms a day
beside the benchmarks of ISA-18.2 (about 6 an hour for one operator, 12 the most: 144 and 288 a day;
from memory).
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from analysis.watch.alarm_store import AlarmStore, PastTransition
from analysis.watch.facts import Facts
from analysis.watch.foretell import foretell
from analysis.watch.gather import Gatherer
from analysis.watch.roster import RosterReader
from analysis.watch.rule_figures import rules_of
from analysis.watch.states import AlarmKey, Cause, Kind
from analysis.watch.watcher import Parts, Watcher
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Enclosure,
    Meal,
    Outcome,
    Placement,
    Stay,
    Weighing,
    Zone,
)
from collector.clock import Clock
from collector.sealer import Sealer
from collector.store.journal import Journal
from collector.store.reader import Reader
from config.care import load_care_profile
from config.home import Home
from config.settings import load_settings
from tests.campaigns.keepers_room import (
    ALL,
    DAY_MIN,
    DAY_MS,
    ENCLOSURES,
    MINUTE_MS,
    TWO_PROBES,
    Fault,
    Room,
    meals,
    script,
)
from tests.campaigns.the_board import PLENTY_MB, Board

START_MS = 1_767_225_600_000
"""2026-01-01T00:00:00Z."""
SETTLE_MIN = 12 * 60
"""So long after a fault its enclosure may still be getting over it (our own choice)."""


@dataclass
class Run:
    """One run's home and clocks."""

    home: Home
    step_min: int
    minute: int = 0
    restarts: int = 0
    seconds: float = 0.0
    board: Board | None = None
    _watcher: Watcher | None = field(default=None, init=False)

    def now_ms(self) -> int:
        """The clock on the wall."""
        return START_MS + self.minute * MINUTE_MS

    def monotonic(self) -> float:
        """The clock that only goes forward."""
        return 1_000.0 + self.minute * 60.0

    def free_mb(self, _home: Path) -> float:
        """Room on the card."""
        return PLENTY_MB if self.board is None else self.board.free_mb

    def start(self) -> None:
        """A new watch over the files as they are."""
        settings = load_settings(self.home)
        care = load_care_profile("boa-constrictor", self.home.folder / "care")
        rules = rules_of(care, settings)
        self.store = AlarmStore(self.home.alarms)
        self.reader = Reader(self.home.journal, self.home.archive)
        before = self.store.watching()
        clock = Clock(
            newest_ms=before.seen_ms if before else None,
            now_ms=self.now_ms,
            monotonic=self.monotonic,
            synchronised=lambda: True,
        )
        rosters = RosterReader(self.home, care, settings, self.monotonic)
        gatherer = Gatherer(self.reader, rules, foretell)
        facts = Facts(self.home, self.free_mb)
        parts = Parts(settings, rules, self.store, gatherer, rosters, facts, ["a"])
        self._watcher = Watcher(parts, clock, self.monotonic)

    def kill(self) -> None:
        """The process dies: nothing that was not kept remains."""
        self.store.close()
        self.reader.close()
        self._watcher = None

    def cycle(self) -> None:
        """One evaluation."""
        if self._watcher is not None:
            self._watcher.cycle()


def simulate(  # each is a thing of its own
    folder: Path,
    days: int,
    seed: int,
    *,
    step_min: int,
    restart_seed: int = 0,
    faults: Sequence[Fault] | None = None,
) -> Run:
    """Run `days` of the room under the watch, with the script's faults or these.

    With a `restart_seed` the watch is killed about five times a day at random, and away for up to
    a quarter of an hour.
    """
    run = Run(Home(folder), step_min)
    folder.parent.mkdir(parents=True, exist_ok=True)
    _furnish(run.home, days, seed)
    room = Room(seed, script(days, seed) if faults is None else list(faults), START_MS)
    rng, away_until = random.Random(restart_seed), 0
    began = time.perf_counter()
    with (
        closing(Journal(run.home.journal, monotonic=run.monotonic)) as journal,
        closing(Sealer(journal, run.home.archive, 3600.0, run.monotonic)) as sealer,
    ):
        run.board = Board(run.home, journal)
        run.start()
        for minute in range(days * DAY_MIN):
            run.minute = minute
            room.step(minute)
            run.board.take(room, minute, run.now_ms())
            if sealer.due():
                sealer.seal()
            if minute == away_until and away_until:
                run.start()
            if restart_seed and minute > away_until and rng.random() < 5 / DAY_MIN:
                run.kill()
                run.restarts, away_until = run.restarts + 1, minute + rng.randrange(1, 15)
            elif minute % step_min == 0 and minute >= away_until:
                run.cycle()
        if minute < away_until:
            run.start()
        run.cycle()
    run.seconds = time.perf_counter() - began
    return run


def _furnish(home: Home, days: int, seed: int) -> None:
    home.folder.mkdir(exist_ok=True)
    home.readings.mkdir(exist_ok=True)
    home.settings.write_text('time_zone = "Europe/Lisbon"\n', "utf-8")
    since = START_MS - 30 * DAY_MS
    with Book(home.book, now_ms=lambda: START_MS + 400 * DAY_MS) as book, book.transaction():
        for one in range(ENCLOSURES):
            book.put(Enclosure(f"E{one}", "room"))
            book.put(Animal(f"A{one}"))
            book.put(Stay(f"A{one}", f"E{one}", since))
            book.put(Placement(f"warm-{one}", f"E{one}", Zone.WARM_SIDE, since))
            if one < TWO_PROBES:
                book.put(Placement(f"warm-{one}-b", f"E{one}", Zone.WARM_SIDE, since))
            book.put(Placement(f"cool-{one}", f"E{one}", Zone.COOL_SIDE, since))
            book.put(Placement(f"air-{one}", f"E{one}", Zone.HIDE, since))
            book.put(Weighing(f"A{one}", since, 2_000.0))
        book.put(Placement("room", "E0", Zone.ROOM, since))
        for one, minute in meals(days, seed):
            at_ms = START_MS + minute * MINUTE_MS
            book.put(
                Meal(
                    0, f"A{one}", taken_at_ms=at_ms, prey="rat", prey_count=1, prey_mass_g=200.0,
                    outcome=Outcome.KEPT, outcome_at_ms=at_ms + 8 * DAY_MS,
                )
            )  # fmt: skip


# ---- what came of it ------------------------------------------------------------------------


@dataclass(slots=True)
class Account:
    """The faults with the delay of their alarm in minutes (None: missed), and what was false."""

    delays: list[tuple[Fault, float | None]]
    false: list[PastTransition]
    calls_a_day: Counter[int]
    told: int


def account(past: Sequence[PastTransition], faults: Sequence[Fault]) -> Account:
    """Hold what was raised against the script."""
    raised = [t for t in past if t.cause is Cause.RAISED]
    delays = [(fault, _delay(fault, raised)) for fault in faults]
    false = [t for t in raised if t.told and not any(_of(fault, t) for fault in faults)]
    calls = [t for t in past if t.cause.calls and t.told]
    by_day = Counter((t.at_ms - START_MS) // DAY_MS for t in calls)
    return Account(delays, false, by_day, len(calls))


def _delay(fault: Fault, raised: Sequence[PastTransition]) -> float | None:
    """Minutes from the cause to the first alarm of the right kind and place, in time."""
    for one in raised:
        minute = (one.at_ms - START_MS) / MINUTE_MS
        right = one.key.kind in fault.expects and _place(fault, one.key)
        if right and fault.from_min <= minute <= fault.from_min + fault.within_min:
            return minute - fault.from_min
    return None


def _of(fault: Fault, one: PastTransition) -> bool:
    minute = (one.at_ms - START_MS) / MINUTE_MS
    return _place(fault, one.key) and fault.from_min <= minute <= fault.until_min + SETTLE_MIN


def _place(fault: Fault, key: AlarmKey) -> bool:
    return fault.enclosure == ALL or key.enclosure in ("", f"E{fault.enclosure}")


def story(past: Sequence[PastTransition]) -> list[tuple[str, str, str, str, int]]:
    """What was raised, escalated and cleared, when: the same however often the watch began."""
    by_rule = (Cause.RAISED, Cause.ESCALATED, Cause.CLEARED)
    return sorted(
        (t.key.kind, t.key.enclosure, t.key.probe or "", t.cause, t.at_ms)
        for t in past
        if t.cause in by_rule and t.key.kind not in BY_THE_CLOCK
    )


BY_THE_CLOCK = (
    Kind.NO_READINGS,
    Kind.COLLECTOR_SILENT,
    Kind.BROKER_AWAY,
    Kind.LINE_AWAY,
    Kind.NOT_WRITTEN,
    Kind.CLOCK_UNSURE,
    Kind.CARD_FILLING,
    Kind.SEVERAL_SILENT,
    Kind.SEVERAL_COOLING,
    Kind.FLOOD,
)
"""Judged at the moment of an evaluation: their times move with it, their number does not (but for
the last three, which sum up what else is open then)."""


def counts(past: Sequence[PastTransition]) -> Counter[tuple[str, str, str]]:
    """How often each alarm of the others was raised."""
    return Counter(
        (t.key.kind, t.key.enclosure, t.key.probe or "")
        for t in past
        if t.cause is Cause.RAISED and t.key.kind in BY_THE_CLOCK[:-3]
    )


def transitions(home: Home) -> list[PastTransition]:
    """All that was kept."""
    with AlarmStore(home.alarms) as store:
        return store.transitions()


def figures(found: Account, days: int, run: Run) -> Iterator[dict[str, object]]:
    """One line a fault, one a kind of fault, then the whole."""
    by_name: dict[str, list[float | None]] = {}
    for fault, delay in found.delays:
        by_name.setdefault(fault.name, []).append(delay)
    for name, delays in sorted(by_name.items()):
        known = sorted(d for d in delays if d is not None)
        yield {
            "fault": name,
            "times": len(delays),
            "missed": len(delays) - len(known),
            "delay_min_median": known[len(known) // 2] if known else None,
            "delay_min_most": known[-1] if known else None,
        }
    enclosure_days = ENCLOSURES * days
    yield {
        "days": days,
        "faults": len(found.delays),
        "missed": sum(delay is None for _, delay in found.delays),
        "false_alarms": len(found.false),
        "false_per_enclosure_per_100_days": round(100 * len(found.false) / enclosure_days, 3),
        "false_kinds": dict(Counter(str(t.key.kind) for t in found.false)),
        "calls_a_day_most": max(found.calls_a_day.values(), default=0),
        "calls_a_day_mean": round(found.told / days, 3),
        "isa_target_a_day": 144,
        "restarts": run.restarts,
        "seconds": round(run.seconds, 1),
    }


def main() -> int:
    """Print every figure; 1 when a fault was missed or a restart changed the story."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.year")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--step", type=int, default=5, help="minutes between evaluations")
    parser.add_argument("--restarts", type=int, default=0, metavar="SEED")
    parser.add_argument("--list", type=Path, metavar="FILE", help="write the list of alarms")
    parser.add_argument("--same-as", type=Path, metavar="FILE", help="hold it against that list")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        run = simulate(
            Path(folder) / "home", given.days, given.seed,
            step_min=given.step, restart_seed=given.restarts,
        )  # fmt: skip
        run.kill()
        past = transitions(run.home)
    listed = list(lines_of(past))
    if given.list:
        given.list.write_text("".join(f"{line}\n" for line in listed), "utf-8")
    found = account(past, script(given.days, given.seed))
    for line in figures(found, given.days, run):
        sys.stdout.write(json.dumps(line) + "\n")
    for one in found.false[:20]:
        minute = (one.at_ms - START_MS) // MINUTE_MS
        sys.stdout.write(json.dumps({"false": str(one.key), "minute": minute}) + "\n")
    for fault, delay in found.delays:
        if delay is None:
            sys.stdout.write(json.dumps({"missed": str(fault)}) + "\n")
    differs = given.same_as is not None and not _same(listed, given.same_as)
    return int(differs or any(delay is None for _, delay in found.delays))


def lines_of(past: Sequence[PastTransition]) -> Iterator[str]:
    """The list of alarms as lines: what is judged by the readings with its times, then counts."""
    for one in story(past):
        yield json.dumps(one)
    for key, times in sorted(counts(past).items()):
        yield json.dumps([*key, times])


def _same(listed: Sequence[str], path: Path) -> bool:
    """Say in how many lines two lists differ, and in which."""
    other = path.read_text("utf-8").splitlines()
    apart = sorted((Counter(listed) - Counter(other)) + (Counter(other) - Counter(listed)))
    sys.stdout.write(
        json.dumps({"lines": len(listed), "lines_before": len(other), "apart": apart}) + "\n"
    )
    return not apart


if __name__ == "__main__":
    sys.exit(main())
