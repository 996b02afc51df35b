"""The jobs over a real alarm file, with clocks moved by hand: once each, whatever happens."""

from __future__ import annotations

import sys
import time as real_time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, time
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from analysis.watch.alarm_file import open_alarms
from analysis.watch.jobs import AtOnce, Found, Job, Jobs
from analysis.watch.jobs_apart import Apart
from analysis.watch.jobs_backup import nightly_backup
from analysis.watch.jobs_due import Daily
from analysis.watch.jobs_home import jobs_of
from analysis.watch.jobs_kept import JobFile, Note
from analysis.watch.jobs_meals import MealLooks
from collector.backup import verify
from collector.book.records import Animal, Meal, Outcome, Weighing
from collector.clock import Clock
from config.care import load_care_profile
from config.errors import StoreFault, Unusable, WarmcoilError
from config.settings import load_settings
from tests.analysis.watch.stage import HOUR_MS, MINUTE_MS, Stage

LISBON = ZoneInfo("Europe/Lisbon")


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp()) * 1000


NOON = ms("2026-06-10T11:00:00Z")  # 12:00 in Lisbon


@dataclass
class Bench:
    """Jobs of one home whose process can be killed and started, its clock moved by hand."""

    stage: Stage
    now_ms: int = NOON
    monotonic_s: float = 1000.0
    runs: list[int] = field(default_factory=list)
    fault: Exception | None = None

    def __post_init__(self) -> None:
        self.start()

    def start(self) -> None:
        self.file = JobFile(self.stage.home.alarms, ["a"])
        clock = Clock(
            now_ms=lambda: self.now_ms,
            monotonic=lambda: self.monotonic_s,
            synchronised=lambda: False,
        )
        job = Job("count", Daily(time(3, 30)), AtOnce(self.work))
        self.jobs = Jobs(
            [job], [], file=self.file, clock=clock, zone=LISBON, monotonic=lambda: self.monotonic_s
        )

    def work(self, due_ms: int, _: int) -> list[Note]:
        if self.fault is not None:
            raise self.fault
        self.runs.append(due_ms)
        return [Note("count", str(due_ms), "Counted", ("One more.",))]

    def pass_hours(self, hours: float, step_minutes: int = 10) -> None:
        for _ in range(round(hours * 60 / step_minutes)):
            self.now_ms += step_minutes * MINUTE_MS
            self.monotonic_s += step_minutes * 60
            self.jobs.tick()

    def restart(self) -> None:
        self.file.close()
        self.start()

    def titles(self) -> list[str]:
        with closing(open_alarms(self.stage.home.alarms)) as connection:
            rows = connection.execute("SELECT title FROM outbox ORDER BY message").fetchall()
        return [row["title"] for row in rows]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with Stage(tmp_path / "home", NOON - 40 * 24 * HOUR_MS) as stage:
        one = Bench(stage)
        yield one
        one.file.close()


def test_a_new_home_has_missed_nothing_and_then_it_is_once_a_night(bench: Bench) -> None:
    bench.jobs.tick()
    assert bench.runs == []
    bench.pass_hours(3 * 24)
    nights = ["2026-06-11T02:30:00Z", "2026-06-12T02:30:00Z", "2026-06-13T02:30:00Z"]
    assert bench.runs == [ms(night) for night in nights]
    assert bench.titles() == ["Counted"] * 3


def test_missed_while_off_it_is_caught_up_once(bench: Bench) -> None:
    bench.jobs.tick()
    bench.now_ms += 9 * 24 * HOUR_MS
    bench.restart()
    bench.pass_hours(2)
    assert bench.runs == [ms("2026-06-19T02:30:00Z")]


def test_restarts_at_any_time_change_nothing(bench: Bench) -> None:
    bench.jobs.tick()
    for _ in range(24):
        bench.pass_hours(2)
        bench.restart()
    assert len(bench.runs) == len(set(bench.runs)) == 2


def test_a_clock_of_1970_does_nothing_and_then_one_night_is_caught_up(bench: Bench) -> None:
    bench.jobs.tick()
    bench.now_ms, now_ms = 3_600_000, bench.now_ms
    bench.restart()
    bench.pass_hours(30)
    assert bench.runs == []
    bench.now_ms = now_ms + 30 * HOUR_MS
    bench.pass_hours(1)
    assert bench.runs == [ms("2026-06-11T02:30:00Z")]


def test_a_clock_years_ahead_runs_once_then_and_goes_on_when_put_right(bench: Bench) -> None:
    bench.jobs.tick()
    bench.now_ms, now_ms = ms("2031-01-01T12:00:00Z"), bench.now_ms
    bench.pass_hours(1)
    assert len(bench.runs) == 1  # nobody can know
    bench.now_ms = now_ms + HOUR_MS
    bench.pass_hours(10)
    assert len(bench.runs) == 1  # not again at once ...
    bench.pass_hours(12)
    assert bench.runs[1:] == [ms("2026-06-11T02:30:00Z")]  # ... and not never


def test_a_failing_job_is_said_once_tried_again_and_said_when_it_works(bench: Bench) -> None:
    bench.jobs.tick()
    bench.fault = WarmcoilError("the disk is full; make room")
    bench.pass_hours(40)
    bench.restart()
    bench.pass_hours(2)
    assert bench.titles() == ["Not done: count"]
    bench.fault = ValueError("a slip of ours")  # another fault of the same job: it is known
    bench.pass_hours(3)
    bench.fault = None
    bench.pass_hours(6)
    assert bench.titles() == ["Not done: count", "Counted", "Done after all: count"]
    assert bench.runs == [ms("2026-06-12T02:30:00Z")]


def test_waits_between_attempts_grow(bench: Bench) -> None:
    tried = []

    def failing(due_ms: int, _: int) -> list[Note]:
        tried.append(bench.monotonic_s)
        raise WarmcoilError("no")

    bench.jobs.tick()
    bench.work = failing  # type: ignore[method-assign]
    bench.restart()
    bench.pass_hours(40, step_minutes=1)
    waits = [b - a for a, b in pairwise(tried)]
    assert 4 < len(tried) < 20
    assert max(waits) <= 4 * 3600 + 60
    assert waits[-1] > 4 * waits[0]


def test_killed_before_it_is_kept_neither_row_nor_message_is_there(bench: Bench) -> None:
    bench.jobs.tick()
    bench.now_ms += 24 * HOUR_MS
    with closing(open_alarms(bench.stage.home.alarms)) as other:
        other.execute(
            "CREATE TRIGGER dies BEFORE INSERT ON delivery BEGIN SELECT RAISE(ABORT, 'x'); END"
        )
        with pytest.raises(Exception, match="x"):
            bench.jobs.tick()
        other.execute("DROP TRIGGER dies")
    assert bench.titles() == []
    bench.restart()
    bench.jobs.tick()
    assert bench.titles() == ["Counted"]
    assert bench.runs[0] == bench.runs[1]  # it is the same run again


def test_a_look_says_each_thing_once(bench: Bench) -> None:
    note = Note("prey left", "7", "Prey still with Tove?", ("It is there.",))

    def look(said: object, _: int) -> list[Found]:
        return [] if "prey 7" in said else [Found(("prey 7",), note)]  # type: ignore[operator]

    for _ in range(2):
        bench.jobs._looks = (look,)
        bench.pass_hours(1)
        bench.restart()
    assert bench.titles() == ["Prey still with Tove?"]


# ---- a process of its own ------------------------------------------------------------------------


def result_of(work: Apart) -> list[Note]:
    deadline = real_time.monotonic() + 20
    while real_time.monotonic() < deadline:
        notes = work.result()
        if notes is not None:
            return notes
        real_time.sleep(0.02)
    raise AssertionError("no result")


def test_the_backup_is_a_process_of_its_own(bench: Bench) -> None:
    folder = bench.stage.home.folder
    work = Apart("nightly backup", ["analysis.watch.jobs_backup", "--home", str(folder)], 60)
    work.begin(ms("2026-06-11T02:30:00Z"), NOON)
    assert work.result() is None
    assert result_of(work) == []
    assert verify(folder / "backups" / "warmcoil-2026-06-11.tar") == NOON


def test_its_failure_is_one_line(tmp_path: Path) -> None:
    work = Apart("nightly backup", ["analysis.watch.jobs_backup", "--home", str(tmp_path)], 60)
    work.begin(NOON, NOON)
    with pytest.raises(WarmcoilError, match=r"^.*no Warmcoil home here; make one with: .*$"):
        result_of(work)


def test_one_that_hangs_is_ended(bench: Bench) -> None:
    work = Apart("hangs", ["timeit", "-n1", "import time; time.sleep(60)"], 0.2)
    work._command = [sys.executable, "-c", "import time; time.sleep(60)"]
    work.begin(NOON, NOON)
    real_time.sleep(0.3)
    with pytest.raises(WarmcoilError, match="still at work"):
        work.result()


def test_the_weekly_review_says_what_needs_a_look(bench: Bench) -> None:
    taken_ms = NOON - 6 * 24 * HOUR_MS
    bench.stage.enter(
        Weighing("Tove", taken_ms - HOUR_MS, 2000.0),
        Meal(0, "Tove", taken_at_ms=taken_ms, prey="rat", prey_mass_g=200.0),
    )
    minutes = range(0, 6 * 24 * 60, 10)
    for first in range(0, len(minutes), 100):
        part = minutes[first : first + 100]
        rows = [(taken_ms + n * MINUTE_MS, 26.0 if 1000 < n < 1600 else 31.0) for n in part]
        bench.stage.commit(*rows)
    work = Apart("weekly review", ["analysis.weekly", "--home", str(bench.stage.home.folder)], 60)
    work.begin(NOON, NOON)
    (note,) = result_of(work)
    assert note.title == "Meals of the week: 1 of 1 to look at"
    assert note.lines[0] == "Of the last 7 days: 1 cool."
    assert note.lines[1].startswith("Meal 1, Tove, Thu 4 Jun: cool")


# ---- the backups -----------------------------------------------------------------------------


def test_fourteen_are_kept_and_only_a_good_new_one_pushes_one_out(bench: Bench) -> None:
    home = bench.stage.home
    home.backups.mkdir()
    (home.backups / "my own.tar").write_bytes(b"a keeper's")
    (home.backups / ".backup-left").mkdir()
    for night in range(16):
        nightly_backup(home, NOON + night * 24 * HOUR_MS, NOON)
    names = sorted(p.name for p in home.backups.iterdir())
    assert names == ["my own.tar", *(f"warmcoil-2026-06-{day}.tar" for day in range(12, 26))]
    (home.readings / "archive.db").write_bytes(b"rubbish" * 100)
    with pytest.raises(StoreFault, match=r"archive\.db"):
        nightly_backup(home, NOON + 16 * 24 * HOUR_MS, NOON)
    assert sorted(p.name for p in home.backups.glob("w*")) == names[1:]


def test_a_damaged_backup_is_not_verified(bench: Bench) -> None:
    file = nightly_backup(bench.stage.home, NOON, NOON)
    whole = file.read_bytes()
    spoilt = bytearray(whole)
    spoilt[whole.index(b"SQLite format 3") + 5000] ^= 1
    file.write_bytes(spoilt)
    with pytest.raises(Unusable, match="is damaged"):
        verify(file)
    file.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(Unusable):
        verify(file)


# ---- meals --------------------------------------------------------------------------------------


def looks_of(bench: Bench) -> MealLooks:
    home = bench.stage.home
    care = load_care_profile("boa-constrictor", None)
    return MealLooks(home, care, load_settings(home), lambda: bench.monotonic_s)


def test_prey_left_is_said_after_half_an_hour_and_before_the_night(bench: Bench) -> None:
    offered_ms = ms("2026-06-10T18:00:00Z")  # 19:00 in Lisbon; the profile's night begins at 22:00
    bench.stage.enter(Meal(0, "Tove", offered_at_ms=offered_ms, prey="rat", prey_mass_g=200.0))
    looks = looks_of(bench)
    said: set[str] = set()
    heard = []
    for minute in range(24 * 60):
        bench.monotonic_s += 60
        for found in looks.reminders(said, offered_ms + minute * MINUTE_MS):
            said.update(found.names)
            heard.append((minute, "overnight" in found.note.lines[1]))
            assert "warmcoil meal 1 --removed" in found.note.lines[2]
    assert heard == [(30, False), (180, True)]


@pytest.mark.parametrize(
    "answer", [{"taken_at_ms": 10}, {"removed_at_ms": 10}, {"outcome": Outcome.REFUSED}]
)
def test_prey_that_is_answered_for_is_not_left(bench: Bench, answer: dict[str, object]) -> None:
    bench.stage.enter(Animal("Ana"))
    timed = {k: NOON + v * MINUTE_MS if isinstance(v, int) else v for k, v in answer.items()}
    bench.stage.enter(Meal(0, "Ana", offered_at_ms=NOON, prey="rat", **timed))  # type: ignore[arg-type]
    assert not looks_of(bench).reminders((), NOON + 40 * MINUTE_MS)


def test_an_open_outcome_is_asked_of_once_a_meal_at_a_humane_hour(bench: Bench) -> None:
    file = bench.stage.home.settings
    file.write_text(file.read_text() + "backups_kept = 0\n")  # here an hour is over in no time
    settings = load_settings(bench.stage.home)
    care = load_care_profile("boa-constrictor", None)
    bench.stage.enter(
        Meal(0, "Tove", taken_at_ms=NOON - 9 * 24 * HOUR_MS, prey="rat"),
        Meal(0, "Tove", taken_at_ms=NOON - 200 * 24 * HOUR_MS, prey="rat"),  # long ago
        Meal(
            0, "Tove", taken_at_ms=NOON - 30 * 24 * HOUR_MS, prey="rat", outcome=Outcome.PASSED,
            outcome_at_ms=NOON - 20 * 24 * HOUR_MS,
        ),
    )  # fmt: skip
    clock = Clock(now_ms=lambda: bench.now_ms, monotonic=lambda: bench.monotonic_s)
    bench.jobs = jobs_of(
        bench.stage.home, settings, care, bench.file, clock,
        tidy=lambda _: None, monotonic=lambda: bench.monotonic_s,
    )  # fmt: skip
    bench.pass_hours(6)  # to 18:00 at home
    assert bench.titles() == []
    bench.pass_hours(2)
    assert bench.titles() == ["What became of meal 1?"]
    bench.stage.enter(Meal(0, "Tove", taken_at_ms=NOON - 8 * 24 * HOUR_MS, prey="rat"))
    for _ in range(5):
        bench.pass_hours(3)
    bench.jobs.close()
    assert bench.titles() == ["What became of meal 1?", "What became of meal 4?"]
