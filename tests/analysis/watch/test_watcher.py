"""One evaluation after another over a real book, journal and alarm file, with clocks moved by
hand: late starts, restarts, doubtful clocks, silences."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.watch.alarm_store import AlarmStore, PastTransition
from analysis.watch.facts import Facts
from analysis.watch.foretell import foretell
from analysis.watch.gather import Gatherer
from analysis.watch.outbox import Outbox
from analysis.watch.requests import Action, ask
from analysis.watch.roster import RosterReader
from analysis.watch.rule_figures import rules_of
from analysis.watch.states import AlarmKey, Cause, Kind, Priority, State
from analysis.watch.watcher import Parts, Watcher
from collector.book.records import Animal, Enclosure, Meal, Placement, Stay, Weighing, Zone
from collector.clock import Clock
from collector.readings import Flag
from collector.store.reader import Reader
from config.care import load_care_profile
from config.errors import StoreFault
from config.settings import load_settings
from tests.analysis.watch.stage import HOUR_MS, MINUTE_MS, Stage

START_MS = 1_774_000_000_000  # a day in March 2026
LOW = AlarmKey(Kind.WARM_SIDE_LOW, "Larch")
SILENT = AlarmKey(Kind.NO_READINGS, "Larch", "warm-1")


class Bench:
    """A stage, and a watch over it that can be killed and started; time is in minutes."""

    def __init__(self, folder: Path) -> None:
        self.stage = Stage(folder, START_MS - 30 * 24 * HOUR_MS)
        self.now_ms = START_MS
        self.monotonic_s = 1_000.0
        self.synchronised = True
        self.start()

    def start(self) -> None:
        home = self.stage.home
        settings = load_settings(home)
        care = load_care_profile("boa-constrictor", home.folder / "care")
        rules = rules_of(care, settings)
        self.store = AlarmStore(home.alarms)
        self.reader = Reader(home.journal, home.archive)
        before = self.store.watching()
        clock = Clock(
            newest_ms=before.seen_ms if before else None,
            now_ms=lambda: self.now_ms,
            monotonic=self.monotonic,
            synchronised=lambda: self.synchronised,
        )
        parts = Parts(
            settings,
            rules,
            self.store,
            Gatherer(self.reader, rules, foretell),
            RosterReader(home, care, settings, self.monotonic),
            Facts(home),
            ["a"],
        )
        self.watcher = Watcher(parts, clock, self.monotonic)

    def monotonic(self) -> float:
        return self.monotonic_s

    def kill(self) -> None:
        """The process dies: nothing that was not kept remains."""
        self.store.close()
        self.reader.close()

    def restart(self) -> None:
        self.kill()
        self.start()

    def sleep(self, minutes: float) -> None:
        """Time passes, and nobody watches."""
        self.now_ms += round(minutes * MINUTE_MS)
        self.monotonic_s += minutes * 60

    def report(self, value: float | None, minutes: int, probe: str = "warm-1") -> None:
        """Readings every minute, and a cycle after each."""
        for _ in range(minutes):
            self.sleep(1)
            if value is not None:
                self.stage.commit((self.now_ms, value), probe=probe)
            self.watcher.cycle()

    def only_readings(self, value: float, minutes: int) -> None:
        """Readings every minute while nobody watches."""
        for _ in range(minutes):
            self.sleep(1)
            self.stage.commit((self.now_ms, value))

    def story(self) -> list[tuple[Kind, Cause, float]]:
        """(kind, cause, minutes since the start) of all transitions."""
        return [(t.key.kind, t.cause, (t.at_ms - START_MS) / MINUTE_MS) for t in self.transitions()]

    def transitions(self) -> list[PastTransition]:
        return self.store.transitions()

    def messages(self) -> list[str]:
        """Titles in the outbox, oldest first."""
        rows = self.store._connection.execute("SELECT title FROM outbox ORDER BY message")
        return [row["title"] for row in rows.fetchall()]

    def ask(self, action: Action, key: AlarmKey, minutes: float | None = None) -> None:
        """What a keeper asks, as another process writes it down."""
        until_ms = None if minutes is None else self.now_ms + round(minutes * MINUTE_MS)
        ask(self.stage.home.alarms, action, key, who="Ana", now_ms=self.now_ms, until_ms=until_ms)

    def close(self) -> None:
        self.kill()
        self.stage.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    one = Bench(tmp_path / "home")
    yield one
    one.close()


def test_one_alarm_and_one_all_clear(bench: Bench) -> None:
    bench.report(31.0, 10)
    bench.report(26.0, 30)
    bench.report(29.0, 20)
    assert bench.story() == [
        (Kind.WARM_SIDE_LOW, Cause.RAISED, 31.0),
        (Kind.WARM_SIDE_LOW, Cause.CLEARED, 46.0),
    ]
    assert bench.messages() == [
        "Warm side low in Larch: 26.0 °C",
        "All clear: warm side of Larch back at 29.0 °C",
    ]
    (alarm,) = [a for a in bench.store.alarms().values() if a.key == LOW]
    assert (alarm.state, alarm.lowest, alarm.since_ms) == (
        State.RETURNED, 26.0, START_MS + 11 * MINUTE_MS,
    )  # fmt: skip


def test_a_digesting_animal_makes_it_sooner_and_more_urgent(bench: Bench) -> None:
    bench.stage.enter(
        Weighing("Tove", START_MS - 10 * HOUR_MS, 2_200.0),
        Meal(0, "Tove", taken_at_ms=START_MS - 60 * HOUR_MS, prey="rat", prey_mass_g=220.0),
    )
    bench.report(26.0, 15)
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 11.0)]
    assert bench.transitions()[0].priority is Priority.HIGH
    assert bench.messages() == ["Warm side low in Larch: 26.0 °C, Tove digesting"]
    (row,) = bench.store._connection.execute("SELECT body FROM outbox").fetchall()
    assert "Tove is digesting a 220 g rat, taken 60 h before that." in row["body"]


def test_an_animal_that_has_moved_away_digests_elsewhere(bench: Bench) -> None:
    bench.stage.enter(
        Meal(0, "Tove", taken_at_ms=START_MS - 30 * HOUR_MS, prey="rat", prey_mass_g=220.0),
        Enclosure("Birch"),
        Stay("Tove", "Birch", START_MS - 5 * HOUR_MS),
    )
    bench.report(26.0, 25)
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 21.0)]


def test_a_meal_entered_while_the_watch_runs_is_noticed(bench: Bench) -> None:
    bench.report(26.0, 8)
    bench.stage.enter(
        Meal(0, "Tove", taken_at_ms=START_MS - 60 * HOUR_MS, prey="rat", prey_mass_g=220.0)
    )
    bench.report(26.0, 8)
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 11.0)]


def test_a_late_start_sees_the_whole_on_delay(bench: Bench) -> None:
    bench.only_readings(31.0, 10)
    bench.only_readings(26.0, 25)
    bench.watcher.cycle()
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 31.0)]


def test_what_came_and_went_while_nobody_watched_is_one_message(bench: Bench) -> None:
    bench.report(31.0, 10)
    bench.kill()
    bench.only_readings(25.0, 40)
    bench.only_readings(30.0, 30)
    bench.start()
    bench.watcher.cycle()
    assert [c for _, c, _ in bench.story()] == [Cause.RAISED, Cause.CLEARED]
    assert bench.messages() == ["All clear: warm side of Larch back at 30.0 °C"]


def test_killed_after_any_cycle_it_tells_the_same_story(tmp_path: Path) -> None:
    """The list of transitions and of messages does not depend on when the watch died."""
    random_ = random.Random(5)
    values = [31.0] * 5 + [27.0] * 25 + [28.3] * 4 + [29.0] * 8 + [26.0] * 3 + [29.0] * 5
    values += [25.0] * 25

    def told(folder: Path, *, killed: bool) -> tuple[object, object]:
        bench = Bench(folder)
        for value in values:
            if killed and random_.random() < 0.5:
                bench.restart()
            bench.report(value, 1)
        story = [replace(t, recorded_ms=0) for t in bench.transitions()]
        messages = bench.messages()
        bench.close()
        return story, messages

    undisturbed = told(tmp_path / "calm", killed=False)
    assert len(undisturbed[1]) == 3  # type: ignore[arg-type]
    for run in range(4):
        assert told(tmp_path / f"killed-{run}", killed=True) == undisturbed


def test_a_disk_that_fails_at_the_change_of_state_loses_nothing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.report(26.0, 20)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Outbox, "put", full)
        with pytest.raises(StoreFault, match="No space"):
            bench.report(26.0, 1)
    assert bench.story() == []
    bench.report(26.0, 1)
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 21.0)]
    assert len(bench.messages()) == 1


# ---- silence --------------------------------------------------------------------------------


def test_silence_and_its_end_while_warm_side_low_keeps_its_state(bench: Bench) -> None:
    bench.report(26.0, 25)
    bench.report(None, 60)
    bench.report(26.0, 2)
    assert bench.story() == [
        (Kind.WARM_SIDE_LOW, Cause.RAISED, 21.0),
        (Kind.NO_READINGS, Cause.RAISED, 36.0),
        (Kind.NO_READINGS, Cause.CLEARED, 86.0),
    ]
    assert bench.store.alarms()[LOW].standing


def test_readings_that_cannot_be_right_are_no_readings(bench: Bench) -> None:
    bench.report(31.0, 5)
    for _ in range(15):
        bench.sleep(1)
        bench.stage.commit((bench.now_ms, -127.0), flags=Flag.DISCONNECTED)
        bench.watcher.cycle()
    assert bench.story() == [
        (Kind.PROBE_DOUBTED, Cause.RAISED, 13.0),
        (Kind.NO_READINGS, Cause.RAISED, 16.0),
    ]
    assert bench.store.alarms()[SILENT].under == AlarmKey(Kind.PROBE_DOUBTED, "Larch", "warm-1")
    (row,) = bench.store._connection.execute("SELECT body FROM outbox").fetchall()
    assert "not connected" in row["body"]
    assert "31.0 °C" in row["body"]
    bench.report(31.0, 1)
    assert bench.story()[-1] == (Kind.NO_READINGS, Cause.CLEARED, 21.0)


def test_after_a_pause_of_the_whole_board_silence_counts_from_the_start(bench: Bench) -> None:
    bench.report(31.0, 5)
    bench.kill()
    bench.sleep(300)
    bench.start()
    bench.report(None, 11)  # the first evaluation is one minute after the start
    assert bench.story() == []
    bench.report(None, 1)
    assert bench.story() == [(Kind.NO_READINGS, Cause.RAISED, 317.0)]


def test_a_watch_that_dies_again_and_again_still_notices_silence(bench: Bench) -> None:
    bench.report(31.0, 5)
    for _ in range(12):
        bench.restart()
        bench.report(None, 1)
    assert bench.story() == [(Kind.NO_READINGS, Cause.RAISED, 16.0)]


def test_a_machine_that_slept_gives_the_probes_time(bench: Bench) -> None:
    bench.report(31.0, 5)
    bench.now_ms += 8 * HOUR_MS  # and the monotonic clock stood still
    bench.watcher.cycle()
    assert bench.story() == []
    bench.report(None, 11)
    assert [c for _, c, _ in bench.story()] == [Cause.RAISED]


def test_a_probe_of_humidity_alone_owes_no_temperature(bench: Bench) -> None:
    from collector.readings import Quantity, Reading

    bench.stage.enter(Placement("humid-1", "Larch", Zone.HIDE, START_MS))
    bench.stage.journal.commit([Reading("humid-1", Quantity.HUMIDITY, START_MS, 60.0)])
    bench.report(31.0, 30)
    assert bench.story() == []


# ---- probes and places ----------------------------------------------------------------------


def test_a_second_probe_shares_in_the_warm_side(bench: Bench) -> None:
    bench.stage.enter(Placement("warm-2", "Larch", Zone.WARM_SIDE, START_MS))
    for _ in range(40):
        bench.sleep(1)
        bench.stage.commit((bench.now_ms, 26.0))
        bench.stage.commit((bench.now_ms, 31.0), probe="warm-2")
        bench.watcher.cycle()
    assert bench.story() == []  # the mean is 28.5 °C


def test_a_probe_that_reports_seldom_shares_in_it_between_its_readings(bench: Bench) -> None:
    bench.stage.enter(Placement("warm-2", "Larch", Zone.WARM_SIDE, START_MS))
    for minute in range(40):
        bench.sleep(1)
        if minute % 8 == 0:
            bench.stage.commit((bench.now_ms, 31.0), probe="warm-2")
        bench.stage.commit((bench.now_ms, 26.0))
        bench.watcher.cycle()
    assert bench.story() == []


def test_a_probe_moved_away_withdraws_the_alarm_and_its_new_place_is_watched(
    bench: Bench,
) -> None:
    bench.report(26.0, 25)
    bench.stage.enter(
        Enclosure("Birch"), Placement("warm-1", "Birch", Zone.WARM_SIDE, bench.now_ms)
    )
    bench.report(26.0, 25)
    found = [(t.key.enclosure, t.cause) for t in bench.transitions()]
    assert found == [
        ("Larch", Cause.RAISED), ("Larch", Cause.WITHDRAWN), ("Birch", Cause.RAISED),
    ]  # fmt: skip


def test_no_book_is_nothing_to_watch_and_no_fault(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "home")
    bench.stage.home.book.unlink()
    bench.report(26.0, 30)
    assert bench.story() == []
    bench.close()


# ---- clocks ---------------------------------------------------------------------------------


def test_a_board_that_wakes_in_the_past_judges_nothing(bench: Bench) -> None:
    bench.report(26.0, 25)
    bench.kill()
    true_ms = bench.now_ms
    bench.now_ms, bench.synchronised = 0, False
    bench.start()
    bench.watcher.cycle()
    assert len(bench.story()) == 1  # nothing was withdrawn for a probe "not placed yet"
    bench.now_ms = true_ms + 2 * MINUTE_MS
    bench.monotonic_s += 120
    bench.report(29.0, 7)
    assert [c for _, c, _ in bench.story()] == [Cause.RAISED, Cause.CLEARED]


def test_a_clock_put_back_does_not_blind_the_watch(bench: Bench) -> None:
    bench.report(31.0, 5)
    bench.now_ms -= 5 * HOUR_MS
    bench.report(26.0, 25)
    assert [c for _, c, _ in bench.story()] == [Cause.RAISED]


def test_a_reading_from_the_future_neither_hides_silence_nor_stops_the_warm_side(
    bench: Bench,
) -> None:
    bench.stage.commit((START_MS + 48 * HOUR_MS, 31.0))
    bench.report(26.0, 25)
    assert bench.story() == [(Kind.WARM_SIDE_LOW, Cause.RAISED, 21.0)]
    bench.report(None, 12)
    assert bench.story()[-1] == (Kind.NO_READINGS, Cause.RAISED, 36.0)


def test_two_animals_in_one_enclosure(bench: Bench) -> None:
    bench.stage.enter(
        Animal("Maren"),
        Stay("Maren", "Larch", START_MS - 24 * HOUR_MS),
        Meal(0, "Maren", taken_at_ms=START_MS - 2 * HOUR_MS, prey="mouse", prey_count=2),
        Meal(0, "Tove", taken_at_ms=START_MS - 3 * HOUR_MS),
    )
    bench.report(26.0, 12)
    assert bench.messages() == ["Warm side low in Larch: 26.0 °C, Maren and 1 more digesting"]


# ---- several enclosures, and what keepers ask ------------------------------------------------


def home_of(bench: Bench, *names: str) -> None:
    """More enclosures beside Larch, in its room, with a room probe that reads 20 °C."""
    for name in names:
        bench.stage.enter(
            Enclosure(name, room="back room"),
            Placement(f"warm-{name}", name, Zone.WARM_SIDE, START_MS - 24 * HOUR_MS),
        )
    bench.stage.enter(
        Enclosure("the room", room="back room"),
        Placement("room-1", "the room", Zone.ROOM, START_MS - 24 * HOUR_MS),
    )


def pass_minutes(bench: Bench, minutes: int, **values: Callable[[int], float]) -> None:
    """Readings of several probes every minute, and a cycle after each."""
    for minute in range(minutes):
        bench.sleep(1)
        bench.stage.commit((bench.now_ms, 20.0), probe="room-1")
        for probe, value in values.items():
            bench.stage.commit((bench.now_ms, value(minute)), probe=probe.replace("_", "-"))
        bench.watcher.cycle()


def cooling(tau_h: float, top_c: float = 31.0, room_c: float = 20.0) -> Callable[[int], float]:
    """A heater that fails at once, and the law of cooling."""
    return lambda m: room_c + (top_c - room_c) * math.exp(-m / 60 / tau_h)


def thermostat(shift: int) -> Callable[[int], float]:
    return lambda m: 31.0 + 0.6 * math.sin((m + shift) / 5)


def test_a_heater_that_fails_is_foretold_and_then_the_same_alarm_escalates(bench: Bench) -> None:
    home_of(bench)
    pass_minutes(bench, 420, warm_1=thermostat(0))
    begin = bench.now_ms
    pass_minutes(bench, 120, warm_1=cooling(2.5))
    assert [(k, c) for k, c, _ in bench.story()] == [
        (Kind.WARM_SIDE_LOW, Cause.RAISED), (Kind.WARM_SIDE_LOW, Cause.ESCALATED),
    ]  # fmt: skip
    foretold, low = bench.transitions()
    passes_ms = begin + 2.5 * HOUR_MS * math.log(11 / 8)  # 47.8 min after it failed
    assert begin < foretold.at_ms < passes_ms - 10 * MINUTE_MS
    assert low.at_ms == pytest.approx(passes_ms + 20 * MINUTE_MS, abs=2 * MINUTE_MS)
    first, second = bench.messages()
    assert first.startswith("Warm side of Larch is falling: 28.0 °C by about")
    assert second.startswith("Warm side still low in Larch")


def test_a_power_cut_is_one_alarm_from_real_readings(bench: Bench) -> None:
    home_of(bench, "Birch", "Rowan")
    names = {"warm_1": 0, "warm_Birch": 7, "warm_Rowan": 19}
    pass_minutes(bench, 420, **{n: thermostat(s) for n, s in names.items()})
    pass_minutes(bench, 120, **{n: cooling(1.5 + s / 10) for n, s in names.items()})
    first, _ = bench.messages()  # and then that the first of them is cold
    assert first.endswith("enclosures are cooling: is the power out?")
    low = [a for a in bench.store.alarms().values() if a.key.kind is Kind.WARM_SIDE_LOW]
    assert {a.under for a in low} == {AlarmKey(Kind.SEVERAL_COOLING)}
    pass_minutes(bench, 60, **{n: lambda _: 31.0 for n in names})
    assert bench.messages()[2:] == ["All clear: the enclosures no longer cool together"]
    assert not any(a.standing for a in bench.store.alarms().values())


def test_killed_at_random_through_a_power_cut_it_tells_the_same(tmp_path: Path) -> None:
    random_ = random.Random(11)

    def told(folder: Path, *, killed: bool) -> tuple[object, object]:
        bench = Bench(folder)
        home_of(bench, "Birch", "Rowan")
        warm = {"warm_1": thermostat(0), "warm_Birch": thermostat(9), "warm_Rowan": thermostat(3)}
        fall = {"warm_1": cooling(2.0), "warm_Birch": cooling(2.6), "warm_Rowan": cooling(1.2)}
        pass_minutes(bench, 400, **warm)
        for minute in range(110):
            if killed and random_.random() < 0.4:
                bench.restart()
            now = {name: (lambda _, f=f, m=minute: f(m)) for name, f in fall.items()}
            pass_minutes(bench, 1, **now)
            if minute == 70:
                bench.ask(Action.SHELVE, AlarmKey(Kind.SEVERAL_COOLING), minutes=15)
        story = [replace(t, recorded_ms=0) for t in bench.transitions()]
        messages = bench.messages()
        bench.close()
        return story, messages

    undisturbed = told(tmp_path / "calm", killed=False)
    assert len(undisturbed[1]) >= 2  # type: ignore[arg-type]
    assert told(tmp_path / "killed", killed=True) == undisturbed


def test_a_request_is_carried_out_once_and_kept_with_who_asked(bench: Bench) -> None:
    bench.report(26.0, 25)
    bench.ask(Action.ACKNOWLEDGE, LOW)
    bench.report(26.0, 1)
    bench.restart()
    bench.report(26.0, 2)
    assert [(t.cause, t.who) for t in bench.transitions()] == [
        (Cause.RAISED, None), (Cause.ACKNOWLEDGED, "Ana"),
    ]  # fmt: skip
    assert bench.store.alarms()[LOW].state is State.ACKNOWLEDGED
    assert bench.store.requests() == []


def test_a_disk_that_fails_at_a_request_leaves_it_waiting(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.report(26.0, 25)
    bench.ask(Action.SHELVE, LOW, minutes=30)
    with monkeypatch.context() as patch:
        patch.setattr("analysis.watch.alarm_store.settle", _full)
        with pytest.raises(StoreFault, match="No space"):
            bench.report(26.0, 1)
    assert len(bench.store.requests()) == 1
    assert len(bench.transitions()) == 1
    bench.restart()
    bench.report(26.0, 1)
    assert [t.cause for t in bench.transitions()] == [Cause.RAISED, Cause.SHELVED]
    assert bench.store.requests() == []


def _full(*_: object) -> None:
    raise OSError(28, "No space left on device")


def test_shelved_through_a_restart_and_raised_anew_at_its_end(bench: Bench) -> None:
    bench.ask(Action.SHELVE, LOW, minutes=60)
    bench.report(26.0, 40)
    assert bench.store.alarms()[LOW].shown_state == "shelved"
    bench.restart()
    bench.report(26.0, 40)
    assert bench.messages() == ["Warm side low in Larch: 26.0 °C"]
    assert [c for _, c, _ in bench.story()] == [Cause.SHELVED, Cause.RAISED, Cause.UNSHELVED]
    assert bench.story()[-1][2] == 60.0


def test_out_of_service_through_a_restart(bench: Bench) -> None:
    bench.report(26.0, 25)
    bench.ask(Action.OUT_OF_SERVICE, LOW)
    bench.report(26.0, 5)
    bench.restart()
    bench.report(26.0, 30)
    assert bench.store.alarms()[LOW].shown_state == "out of service"
    bench.ask(Action.IN_SERVICE, LOW)
    bench.report(26.0, 10)
    bench.restart()
    bench.report(26.0, 15)
    assert [(c, m) for _, c, m in bench.story()] == [
        (Cause.RAISED, 21.0), (Cause.OUT_OF_SERVICE, 25.0), (Cause.IN_SERVICE, 60.0),
        (Cause.RAISED, 81.0),
    ]  # fmt: skip


def test_humidity_retreat_and_probes_apart_from_real_readings(bench: Bench) -> None:
    from collector.readings import Quantity, Reading

    bench.stage.enter(
        Placement("cool-1", "Larch", Zone.COOL_SIDE, START_MS),
        Placement("warm-2", "Larch", Zone.WARM_SIDE, START_MS),
        Placement("moist-1", "Larch", Zone.HIDE, START_MS),
    )
    for minute in range(400):
        bench.sleep(1)
        values = {"warm-1": 31.0, "warm-2": 33.5, "cool-1": 30.5}
        for probe, value in values.items():
            bench.stage.commit((bench.now_ms, value), probe=probe)
        bench.stage.journal.commit(
            [Reading("moist-1", Quantity.HUMIDITY, bench.now_ms, 30.0 + minute / 1000)]
        )
        if minute % 10 == 0:
            bench.watcher.cycle()
    bench.watcher.cycle()
    assert [(k, m) for k, _, m in bench.story()] == [
        (Kind.COOL_SIDE_WARM, 61.0), (Kind.PROBES_DISAGREE, 61.0), (Kind.HUMIDITY_LOW, 361.0),
    ]  # fmt: skip
    assert bench.messages() == [
        "Cool side too warm in Larch: 30.5 °C",
        "Probes disagree by 2.5 °C: warm side of Larch",
        "Air too dry in Larch: 30 %",
    ]


def test_chattering_is_known_through_restarts(bench: Bench) -> None:
    """Stuck for a minute, good for eight, three times over: the third is held (ISA-18.2)."""
    for _ in range(3):
        bench.restart()
        bench.sleep(1)
        bench.stage.commit((bench.now_ms, 31.0), flags=Flag.STUCK)
        bench.watcher.cycle()
        bench.report(31.0, 8)
    stuck = AlarmKey(Kind.PROBE_STUCK, "Larch", "warm-1")
    assert bench.store.alarms()[stuck].latched
    assert bench.store.alarms()[stuck].standing
    bench.restart()
    bench.report(31.0, 30)
    assert [(c, m) for _, c, m in bench.story()][-2:] == [
        (Cause.RAISED, 19.0), (Cause.CLEARED, 50.0),
    ]  # fmt: skip
