"""Frame to journal, over a real journal: batching, clocks, redeliveries, a disk that is full."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.backoff import Backoff
from collector.book.book import Book
from collector.book.records import Calibrated
from collector.clock import DAY_MS, Clock
from collector.corrections import LOOK_EVERY_S, Corrections
from collector.counts import Counts
from collector.deliveries import Deliveries
from collector.frame import Delivery, Frame
from collector.haste import LONGEST_MS, Pace, hasten
from collector.measured import Measured
from collector.newcomers import ANOTHER_EVERY_S, Newcomers
from collector.pipeline import COMMIT_AT_UNACKNOWLEDGED, Pipeline
from collector.plausible import Judge
from collector.readings import Correction, Flag, Quantity, Reading
from collector.senml import decode, pack
from collector.sources.mqtt import digest
from collector.store.journal import Journal, Receipt
from config.home import Home
from config.settings import Plausibility, Probe
from tests.collector_process import stored

NOW_MS = 1_900_000_000_000
T = Quantity.TEMPERATURE


class Bench:
    """A pipeline with a clock to be set by hand and a broker that only notes what it hears."""

    def __init__(self, path: Path, *, wait: bool = False, most: int = 100) -> None:
        self.ms, self.s = NOW_MS, 1000.0
        self.clock_is_right = True
        self.acknowledged: list[int] = []
        self.home = Home(path)
        self.journal = Journal(self.home.journal, monotonic=lambda: self.s)
        self.counts = Counts(lambda: self.ms, lambda: self.s)
        self.start(wait=wait, most=most)

    def start(self, *, wait: bool = False, most: int = 100) -> None:
        """A new process over the same journal."""
        self.pipeline = Pipeline(
            decoders=dict.fromkeys(
                ("serial", "mqtt"), lambda frame, now_ms: decode(frame.payload, now_ms)
            ),
            corrections=Corrections(
                [Probe(id="p", temperature_offset_c=-0.5)], self.home.book, lambda: self.s
            ),
            judge=Judge(Plausibility(), {}),
            journal=self.journal,
            clock=Clock(wait, None, lambda: self.ms, lambda: self.s, lambda: self.clock_is_right),
            counts=self.counts,
            deliveries=Deliveries(self.journal.receipts()),
            pace=Pace(10.0, self.home.haste, now_ms=lambda: self.ms, monotonic=lambda: self.s),
            newcomers=Newcomers(monotonic=lambda: self.s),
            most_readings=most,
            retry=Backoff(1.0, 60.0, chance=lambda: 0.0),
        )

    def let_pass(self, seconds: float) -> None:
        self.s += seconds
        self.ms += round(seconds * 1000)

    def serial(self, text: str) -> None:
        self.pipeline.take(Frame("serial", text.encode(), self.s))
        self.pipeline.tick()

    def mqtt(self, mid: int, text: str, *, again: bool = False, stale: bool = False) -> None:
        delivery = Delivery(
            mid, digest("t", text.encode()), again, lambda: self.acknowledged.append(mid)
        )
        self.pipeline.take(
            Frame("mqtt", text.encode(), self.s, label="t", delivery=delivery, stale=stale)
        )
        self.pipeline.tick()

    def stored(self) -> list[Reading]:
        """What any process can read, by series and time."""
        return stored(self.home)

    def values(self) -> list[float]:
        return [reading.raw for reading in self.stored()]

    def dropped(self, source: str) -> dict[str, int]:
        return dict(self.counts.tallies()[source].dropped)

    def failing(self) -> bool:
        return self.pipeline.fault is not None

    def full(self) -> bool:
        return self.pipeline.full

    def fill_disk(self) -> None:
        """From now on SQLite itself says that the disk is full."""
        (pages,) = self.journal._file.execute("PRAGMA page_count").fetchone()
        self.journal._file.execute(f"PRAGMA max_page_count = {pages}")

    def empty_disk(self) -> None:
        self.journal._file.execute("PRAGMA max_page_count = 1073741823")


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    with closing(made.journal):
        yield made


def timed(value: float, at_ms: int, probe: str = "p") -> str:
    return pack([Measured(probe, T, value, at_ms=at_ms)])


def untimed(value: float, probe: str = "p") -> str:
    return pack([Measured(probe, T, value)])


# ---- the way of a reading ----------------------------------------------------------------------


def test_a_reading_is_stamped_calibrated_flagged_and_kept_as_it_came(bench: Bench) -> None:
    bench.serial(untimed(30.0))
    bench.let_pass(1)
    bench.serial(untimed(85.0))
    assert bench.stored() == []
    assert bench.pipeline.uncommitted == 2
    bench.let_pass(9)
    bench.pipeline.tick()
    correction = Correction(1.0, -0.5)
    assert bench.stored() == [
        Reading("p", T, NOW_MS, 30.0, correction),
        Reading("p", T, NOW_MS + 1000, 85.0, correction, Flag.POWER_ON),
    ]
    assert bench.counts.tallies()["serial"].readings == 2


def test_a_new_calibration_holds_without_a_restart_and_changes_nothing_before(
    bench: Bench,
) -> None:
    bench.serial(untimed(30.0))
    bench.let_pass(1)
    with Book(bench.home.book, now_ms=lambda: bench.ms) as book:
        book.put(Calibrated("p", bench.ms, 0.5, 0.0, 0.1))
        book.put(Calibrated("p", bench.ms + 1, 0.5, 0.0, 0.1, 38.5, 37.0, 0.2))
    bench.let_pass(LOOK_EVERY_S)
    bench.serial(untimed(38.5))
    bench.pipeline.commit()
    before, after = bench.stored()
    assert before.correction == Correction(1.0, -0.5)
    assert after.value == pytest.approx(37.0)
    assert after.raw == 38.5
    with Book(bench.home.book, now_ms=lambda: bench.ms) as book:
        book.undo()
    bench.let_pass(LOOK_EVERY_S)
    bench.serial(untimed(30.0))
    bench.pipeline.commit()
    assert bench.stored()[-1].correction == Correction(1.0, -0.5), "taken back: by one point again"
    bench.home.book.write_bytes(b"spoilt")
    bench.let_pass(LOOK_EVERY_S)
    bench.serial(untimed(30.0))
    bench.pipeline.commit()
    assert bench.stored()[-1].correction == Correction(1.0, -0.5)


def test_who_asks_for_haste_gets_a_commit_a_second_until_its_end(bench: Bench) -> None:
    bench.serial(untimed(30.0))
    bench.let_pass(2)
    hasten(bench.home.haste, bench.ms, 20_000)
    bench.pipeline.tick()  # from here the reading that waits need not wait 10 s
    assert bench.pipeline.wait_s() == pytest.approx(1.0)
    bench.let_pass(1)
    bench.pipeline.tick()
    assert len(bench.stored()) == 1
    bench.let_pass(20)
    bench.pipeline.tick()
    bench.serial(untimed(30.0))
    bench.let_pass(9)
    bench.pipeline.tick()
    assert len(bench.stored()) == 1


def test_what_was_committed_in_haste_is_synced_within_its_30_s(bench: Bench) -> None:
    """The pause of 10 s after the haste comes on top of what was not synced before it."""
    bench.journal.commit([Reading("q", T, 0, 1.0)])
    hasten(bench.home.haste, bench.ms, 25_000)
    for _ in range(30):
        bench.let_pass(1)
        if bench.s < 1027:
            bench.serial(untimed(30.0))
        else:
            bench.pipeline.tick()
    assert not bench.journal._unsynced


@pytest.mark.parametrize(
    "asked", [b"", b"soon", b"\xff", b"9" * 40, f"{NOW_MS + LONGEST_MS + 1}".encode()]
)
def test_no_haste_without_an_end_or_with_one_too_far_ahead(bench: Bench, asked: bytes) -> None:
    bench.home.haste.write_bytes(asked)
    bench.serial(untimed(30.0))
    bench.let_pass(9)
    bench.pipeline.tick()
    assert bench.stored() == []


def test_the_commit_comes_ten_seconds_after_the_first_reading(bench: Bench) -> None:
    bench.serial(untimed(30.0))
    for _ in range(9):
        bench.let_pass(1)
        bench.serial(untimed(30.0))
    assert bench.stored() == []
    assert bench.pipeline.wait_s() == pytest.approx(1.0)
    bench.let_pass(1)
    assert bench.pipeline.wait_s() == 0.0
    bench.pipeline.tick()
    assert len(bench.stored()) == 10


def test_readings_of_one_millisecond_are_all_kept(bench: Bench) -> None:
    for i in range(5):
        bench.serial(untimed(30.0 + i / 16))
    bench.pipeline.commit()
    assert [(one.raw, one.at_ms - NOW_MS) for one in bench.stored()] == [
        (30.0 + i / 16, i) for i in range(5)
    ]


def test_the_arrival_counts_and_not_when_its_turn_came(bench: Bench) -> None:
    frame = Frame("serial", untimed(30.0).encode(), bench.s)
    bench.let_pass(3)
    bench.pipeline.take(frame)
    bench.pipeline.commit()
    assert [one.at_ms for one in bench.stored()] == [NOW_MS]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("[", "unreadable"),
        ('[{"n":"p","u":"Cel","v":1,"x_":2}]', "unreadable"),
        ('[{"n":"p","u":"%EL","v":98}]', "other unit"),
        ('[{"n":"p","u":"Cel","vs":"warm"}]', "not a number"),
        (timed(30.0, NOW_MS + DAY_MS + 1), "from the future"),
    ],
)
def test_what_is_dropped_is_counted_and_acknowledged(bench: Bench, text: str, reason: str) -> None:
    bench.mqtt(1, text)
    bench.pipeline.commit()
    assert bench.stored() == []
    assert bench.dropped("mqtt") == {reason: 1}
    assert bench.acknowledged == [1]  # else the broker would send it for ever


def test_a_day_ahead_is_still_believed(bench: Bench) -> None:
    bench.serial(timed(30.0, NOW_MS + DAY_MS))
    bench.pipeline.commit()
    assert bench.values() == [30.0]


def test_an_old_message_kept_for_newcomers_says_nothing_about_now(bench: Bench) -> None:
    bench.mqtt(1, untimed(30.0), stale=True)
    bench.mqtt(2, timed(31.0, NOW_MS - 5000), stale=True)
    bench.pipeline.commit()
    assert bench.values() == [31.0]
    assert bench.dropped("mqtt") == {"retained, without a time": 1}
    assert bench.acknowledged == [1, 2]


# ---- acknowledgements ----------------------------------------------------------------------------


def test_nothing_is_acknowledged_before_its_commit(bench: Bench) -> None:
    bench.mqtt(1, untimed(30.0))
    bench.mqtt(2, "[")
    assert bench.acknowledged == []
    bench.let_pass(10)
    bench.pipeline.tick()
    assert bench.acknowledged == [1, 2]


def test_a_commit_comes_before_the_broker_waits(bench: Bench) -> None:
    for mid in range(1, COMMIT_AT_UNACKNOWLEDGED):
        bench.mqtt(mid, timed(30.0, NOW_MS + mid))
    assert bench.acknowledged == []
    bench.mqtt(16, timed(30.0, NOW_MS + 16))
    assert bench.acknowledged == list(range(1, 17))
    assert len(bench.stored()) == 16


@pytest.mark.parametrize("text", [timed(30.0, NOW_MS), untimed(30.0)])
@pytest.mark.parametrize("committed", [True, False])
def test_a_redelivery_to_the_same_process_is_stored_once(
    bench: Bench, text: str, committed: bool
) -> None:
    bench.mqtt(7, text)
    if committed:
        bench.pipeline.commit()
    bench.let_pass(2)
    bench.mqtt(7, text, again=True)
    assert bench.acknowledged == ([7, 7] if committed else [])
    bench.pipeline.commit()
    assert bench.acknowledged == [7, 7]
    assert bench.values() == [30.0]
    assert bench.dropped("mqtt") == {"delivered again": 1}


@pytest.mark.parametrize("text", [timed(30.0, NOW_MS), untimed(30.0)])
def test_a_redelivery_after_a_death_is_stored_once(bench: Bench, text: str) -> None:
    bench.mqtt(7, text)
    bench.pipeline.commit()
    bench.start()
    bench.let_pass(60)
    bench.mqtt(7, text, again=True)
    bench.pipeline.commit()
    assert bench.values() == [30.0]
    assert bench.acknowledged == [7, 7]


def test_a_message_that_died_before_its_commit_is_taken_when_it_comes_again(bench: Bench) -> None:
    bench.mqtt(7, untimed(30.0))
    bench.start()
    bench.mqtt(7, untimed(30.0), again=True)
    bench.pipeline.commit()
    assert bench.values() == [30.0]


def test_another_message_with_the_same_id_is_another_message(bench: Bench) -> None:
    bench.mqtt(7, untimed(30.0))
    bench.pipeline.commit()
    bench.mqtt(7, untimed(30.5), again=True)
    bench.let_pass(1)
    bench.mqtt(7, untimed(30.5))
    bench.pipeline.commit()
    assert bench.values() == [30.0, 30.5, 30.5]


def test_only_messages_without_a_time_leave_a_receipt(bench: Bench) -> None:
    bench.mqtt(1, timed(30.0, NOW_MS))
    bench.mqtt(2, untimed(31.0))
    bench.pipeline.commit()
    assert bench.journal.receipts() == {Receipt("mqtt", 2, digest("t", untimed(31.0).encode()))}


def test_a_new_probe_in_every_message_is_bounded_and_the_known_ones_are_served(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.newcomers.AT_ONCE", 50)
    bench.start()
    bench.serial(untimed(30.0, "q"))
    for number in range(150):
        bench.serial(untimed(30.0, f"mad-{number}"))
    bench.let_pass(ANOTHER_EVERY_S)
    bench.serial(untimed(30.0, "real"))
    bench.serial(untimed(30.5, "q"))
    bench.pipeline.commit()
    there = [one.probe for one in bench.stored()]
    assert there.count("q") == 2
    assert "real" in there
    assert len(set(there)) == 51
    assert bench.dropped("serial") == {"too many new probes": 101}


# ---- a journal that cannot be written ------------------------------------------------------------


def test_while_the_disk_is_full_readings_wait_and_nothing_is_acknowledged(bench: Bench) -> None:
    bench.fill_disk()
    bench.mqtt(1, big_pack(0))
    bench.let_pass(10)
    bench.pipeline.tick()
    assert bench.failing()
    assert bench.acknowledged == []
    bench.serial(untimed(30.0, "q"))
    bench.let_pass(0.9)
    bench.pipeline.tick()
    assert bench.pipeline.uncommitted == 41
    bench.empty_disk()
    bench.let_pass(0.2)
    bench.pipeline.tick()
    assert not bench.failing()
    assert bench.acknowledged == [1]
    assert len(bench.stored()) == 41


def big_pack(first: int) -> str:
    """40 readings that do not pack small."""
    return pack(
        [
            Measured(f"probe{i}", T, (i * 7919 % 1000) / 30, at_ms=NOW_MS + i * 37 + first)
            for i in range(40)
        ]
    )


def test_tries_come_further_and_further_apart(bench: Bench) -> None:
    bench.fill_disk()
    bench.serial(big_pack(0))
    tried: list[float] = []
    began_s = bench.s
    for _ in range(400):
        bench.let_pass(0.25)
        before = bench.pipeline._commit_at_s
        bench.pipeline.tick()
        if bench.pipeline._commit_at_s != before:
            tried.append(bench.s - began_s)
    assert tried == [10, 11, 13, 17, 25, 41, 73]


def test_the_oldest_that_nobody_else_keeps_go_first(tmp_path: Path) -> None:
    bench = Bench(tmp_path, most=100)
    with closing(bench.journal):
        bench.fill_disk()
        bench.mqtt(1, big_pack(0))
        bench.serial(big_pack(1))
        bench.serial(big_pack(2))
        assert bench.pipeline.uncommitted == 80
        assert bench.dropped("serial") == {"store full": 40}
        assert not bench.full()
        bench.mqtt(2, big_pack(3))
        assert bench.pipeline.uncommitted == 80
        bench.mqtt(3, big_pack(4))
        assert bench.full()
        assert bench.pipeline.abandon() == 0  # the broker has them all
        bench.empty_disk()
        assert bench.pipeline.commit()
        assert bench.acknowledged == [1, 2, 3]
        assert len({one.at_ms for one in bench.stored()}) == 120


def test_more_than_half_full_is_committed_at_once(tmp_path: Path) -> None:
    """So a source gone mad does not push the others' readings out while the journal is well."""
    bench = Bench(tmp_path, most=100)
    with closing(bench.journal):
        bench.serial(untimed(30.0, "q"))
        for number in range(1, 40):
            bench.serial(big_pack(number))
        assert {one.probe for one in bench.stored()} >= {"q"}
        assert bench.dropped("serial") == {}


def test_what_is_lost_at_the_end_is_said(bench: Bench) -> None:
    bench.fill_disk()
    bench.serial(big_pack(0))
    bench.mqtt(1, big_pack(1))
    assert not bench.pipeline.commit()
    assert bench.pipeline.abandon() == 40


# ---- a clock that cannot be believed -------------------------------------------------------------


def test_readings_without_a_time_wait_for_the_clock(tmp_path: Path) -> None:
    bench = Bench(tmp_path, wait=True)
    with closing(bench.journal):
        bench.clock_is_right = False
        bench.ms = 1_000_000  # 1970: the board woke up
        bench.mqtt(1, untimed(30.0))
        bench.let_pass(5)
        bench.serial(untimed(30.5))
        bench.serial(timed(20.0, NOW_MS, "q"))
        bench.mqtt(2, timed(20.5, NOW_MS + 1000, "q"))
        bench.let_pass(15)
        bench.pipeline.tick()
        assert bench.values() == [20.0, 20.5]  # these know their time
        assert bench.acknowledged == []  # in order: 2 waits for 1
        assert bench.pipeline.held == 2
        bench.clock_is_right = True
        bench.ms = NOW_MS
        bench.pipeline.tick()
        bench.pipeline.commit()
        found = {one.raw: one.at_ms - NOW_MS for one in bench.stored() if one.probe == "p"}
        assert found == {30.0: -20_000, 30.5: -15_000}
        assert bench.acknowledged == [1, 2]
        assert bench.pipeline.held == 0


def test_a_minute_ago_can_be_said_to_a_board_that_woke_in_1970(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    with closing(bench.journal):
        bench.ms = 1000
        bench.serial(pack([Measured("p", T, 30.0, offset_ms=-60_000)]))
        bench.let_pass(5)
        bench.ms = NOW_MS
        bench.pipeline.tick()
        bench.pipeline.commit()
        assert [one.at_ms - NOW_MS for one in bench.stored()] == [-65_000]


def test_what_is_held_is_bounded(tmp_path: Path) -> None:
    bench = Bench(tmp_path, wait=True, most=100)
    with closing(bench.journal):
        bench.clock_is_right = False
        bench.mqtt(1, untimed(30.0))
        for _ in range(150):
            bench.let_pass(1)
            bench.serial(untimed(30.0))
        assert bench.pipeline.held == 100
        assert bench.dropped("serial") == {"held too long": 51}
        assert bench.pipeline.abandon() == 99
        assert bench.dropped("serial") == {"held too long": 51, "clock never right": 99}


def test_a_quiet_journal_is_synced_all_the_same(bench: Bench) -> None:
    calls: list[int] = []
    commit = bench.journal.commit

    def counted(readings: list[Reading], receipts: list[Receipt]) -> None:
        calls.append(len(readings))
        commit(readings, receipts)

    bench.journal.commit = counted  # type: ignore[method-assign,assignment]
    bench.serial(untimed(30.0))
    for _ in range(31):
        bench.let_pass(1)
        bench.pipeline.tick()
    assert calls == [1, 0, 0]
