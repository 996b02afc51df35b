"""The line of a zone: stays, placements, faults and several probes, over a real archive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from analysis.exposure import Line
from analysis.tracks import Tracks
from analysis.zones import ZoneLine, room_placements, zone_line
from collector.book.records import Enclosure, Placement, Stay, Zone
from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from tests.analysis.lines import GAP_MS, HOUR, MINUTE, T0

WARM, COOL, ROOM = Zone.WARM_SIDE, Zone.COOL_SIDE, Zone.ROOM
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.HUMIDITY
STAY = Stay("Maren", "A", T0 - 100 * HOUR)
PROBE = Placement("p", "A", WARM, T0 - 100 * HOUR)


class Store:
    """An archive to fill and read."""

    def __init__(self, folder: Path) -> None:
        self._archive = SqliteArchive(folder / "archive.db")
        self.reader = Reader(folder / "journal.db", folder / "archive.db")

    def add(
        self,
        probe: str,
        points: Sequence[tuple[float, float]],
        quantity: Quantity = TEMPERATURE,
        flags: Flag = Flag.NONE,
    ) -> None:
        """Readings as (hours after T0, value)."""
        readings = [
            Reading(probe, quantity, round(T0 + h * HOUR), value, flags=flags)
            for h, value in points
        ]
        self._archive.write(Columns.of(readings))

    def steady(
        self,
        probe: str,
        first_h: float,
        end_h: float,
        value: float,
        quantity: Quantity = TEMPERATURE,
    ) -> None:
        """A value every ten minutes over [first_h, end_h]."""
        count = round((end_h - first_h) * 6)
        self.add(probe, [(first_h + i / 6, value) for i in range(count + 1)], quantity)

    def close(self) -> None:
        self.reader.close()
        self._archive.close()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    one = Store(tmp_path)
    yield one
    one.close()


def zone(
    store: Store,
    *placements: Placement,
    stays: Sequence[Stay] = (STAY,),
    zones: Zone | set[Zone] = WARM,
    quantity: Quantity = TEMPERATURE,
    hours: float = 10,
    apart_c: float | None = None,
) -> ZoneLine:
    return zone_line(
        zones,
        quantity,
        T0,
        T0 + round(hours * HOUR),
        stays=stays,
        placements=placements,
        tracks=Tracks(store.reader),
        gap_ms=GAP_MS,
        apart_c=apart_c,
    )


def spans(line: Line | None) -> list[tuple[float, float]]:
    """Known stretches in hours after T0 (to 1e-6 h); pieces that follow one another are one."""
    assert line is not None
    found: list[tuple[float, float]] = []
    for start, end in zip(line.start_ms, line.end_ms, strict=True):
        a, b = round((start - T0) / HOUR, 6), round((end - T0) / HOUR, 6)
        if found and found[-1][1] == a:
            found[-1] = (found[-1][0], b)
        else:
            found.append((a, b))
    return found


# ---- edges ----------------------------------------------------------------------------------


def test_readings_just_outside_the_window_serve_at_its_edges(store: Store) -> None:
    """29 → 31 over a quarter of an hour across the start; the same across the end."""
    store.add("p", [(-0.125, 29.0), (0.125, 31.0)])
    store.add("p", [(9.9, 31.0), (10.15, 29.0)])
    line = zone(store, PROBE).line
    assert spans(line) == [(0.0, 0.125), (9.9, 10.0)]
    assert line is not None
    assert line.value_at(T0) == 30.0
    assert line.value_at(T0 + 10 * HOUR) == pytest.approx(31 - 2 * 0.1 / 0.25)


def test_a_reading_exactly_a_gap_outside_still_serves(store: Store) -> None:
    store.add("p", [(0.0, 30.0), (-0.25, 30.0), (10.0, 30.0), (10.25, 30.0)])
    assert spans(zone(store, PROBE).line) == []
    store.add("p", [(0.25, 30.0), (9.75, 30.0)])
    assert spans(zone(store, PROBE).line) == [(0.0, 0.25), (9.75, 10.0)]


def test_the_edge_of_a_stay_cuts_the_line_and_the_reading_beyond_serves(store: Store) -> None:
    store.steady("p", -1, 11, 30.0)
    stays = [Stay("Maren", "A", T0 + 3 * HOUR + MINUTE, T0 + 7 * HOUR + 4 * MINUTE)]
    (span,) = spans(zone(store, PROBE, stays=stays).line)
    assert span == (3.016667, 7.066667)


def test_the_edge_of_a_placement_ends_the_line(store: Store) -> None:
    """Readings every ten minutes; placed from 3:01 to 7:04, so known from 3:10 to 7:00."""
    store.steady("p", -1, 11, 30.0)
    placed = Placement("p", "A", WARM, T0 + 3 * HOUR + MINUTE, T0 + 7 * HOUR + 4 * MINUTE)
    (span,) = spans(zone(store, placed).line)
    assert span == (3.166667, 7.0)


def test_a_line_never_joins_across_placements_of_the_same_probe(store: Store) -> None:
    store.steady("p", -1, 11, 30.0)
    middle = T0 + 5 * HOUR + MINUTE
    first = Placement("p", "A", WARM, T0 - HOUR, middle)
    again = Placement("p", "A", WARM, middle)
    assert spans(zone(store, first, again).line) == [(0.0, 5.0), (5.166667, 10.0)]


def test_a_placement_from_its_first_moment_until_before_its_last(store: Store) -> None:
    """[since, until): the reading at since belongs to it, the one at until does not."""
    store.steady("p", 0, 10, 30.0)
    placed = Placement("p", "A", WARM, T0 + 2 * HOUR, T0 + 4 * HOUR)
    (span,) = spans(zone(store, placed).line)
    assert span == (2.0, 3.833333)


# ---- animals that move, probes that move ----------------------------------------------------


def test_the_line_follows_the_animal_and_steps_where_it_moves(store: Store) -> None:
    store.steady("p", -1, 11, 31.0)
    store.steady("q", -1, 11, 27.0)
    stays = [Stay("Maren", "A", T0 - HOUR, T0 + 4 * HOUR), Stay("Maren", "B", T0 + 4 * HOUR)]
    found = zone(store, PROBE, Placement("q", "B", WARM, T0 - HOUR), stays=stays)
    assert spans(found.line) == [(0.0, 10.0)]
    assert found.line is not None
    assert found.line.hours_below(28.0) == 6.0
    assert found.probes == ("p", "q")


def test_swapped_probes_count_where_they_were(store: Store) -> None:
    store.steady("p", -1, 11, 31.0)
    store.steady("q", -1, 11, 25.0)
    swap = T0 + 5 * HOUR + MINUTE
    placed = [
        Placement("p", "A", WARM, T0 - HOUR, swap),
        Placement("q", "A", COOL, T0 - HOUR, swap),
        Placement("p", "A", COOL, swap),
        Placement("q", "A", WARM, swap),
    ]
    warm, cool = zone(store, *placed).line, zone(store, *placed, zones=COOL).line
    assert warm is not None
    assert cool is not None
    assert warm.hours_below(28.0) == pytest.approx(10 - 5 - 1 / 6)
    assert cool.hours_below(28.0) == pytest.approx(5.0)


def test_time_without_a_stay_is_unknown(store: Store) -> None:
    store.steady("p", -1, 11, 31.0)
    assert spans(zone(store, PROBE, stays=[Stay("Maren", "A", T0 + 8 * HOUR)]).line) == [
        (8.0, 10.0)
    ]
    assert zone(store, PROBE, stays=[]).line is None


# ---- no probe, or none heard ----------------------------------------------------------------


@pytest.mark.parametrize(
    "placed",
    [
        Placement("p", "A", COOL, T0 - HOUR),
        Placement("p", "B", WARM, T0 - HOUR),
        Placement("p", "A", WARM, T0 - 9 * HOUR, T0),
        Placement("p", "A", WARM, T0 + 10 * HOUR),
        Placement("h", "A", WARM, T0 - HOUR),
    ],
)
def test_no_temperature_probe_there_at_any_time(store: Store, placed: Placement) -> None:
    store.steady("p", -1, 11, 31.0)
    store.steady("h", -1, 11, 60.0, quantity=HUMIDITY)
    assert zone(store, placed).line is None


def test_a_probe_that_was_never_heard_of_is_a_probe_with_nothing_known(store: Store) -> None:
    assert spans(zone(store, PROBE).line) == []


def test_flagged_readings_are_not_used_but_do_not_break_the_line(store: Store) -> None:
    store.steady("p", 0, 10, 30.0)
    store.add("p", [(5.05, 85.0), (6.05, -127.0)], flags=Flag.POWER_ON)
    line = zone(store, PROBE).line
    assert spans(line) == [(0.0, 10.0)]
    assert line is not None
    assert line.high_c.max() == 30.0


# ---- several probes -------------------------------------------------------------------------


def test_the_mean_is_of_those_that_read_then(store: Store) -> None:
    store.steady("p", 0, 10, 30.0)
    store.steady("q", 2, 4, 26.0)
    line = zone(store, PROBE, Placement("q", "A", WARM, T0)).line
    assert spans(line) == [(0.0, 10.0)]
    assert line is not None
    assert line.hours_below(28.5) == pytest.approx(2.0)
    assert line.value_at(T0 + 3 * HOUR) == 28.0


def test_probes_that_disagree_are_reported_with_how_long_and_how_far(store: Store) -> None:
    """q falls from 30 to 24 over six hours; further than 2 °C from p from hour 4 of 8 on."""
    store.steady("p", 0, 10, 30.0)
    store.add("q", [(2 + i / 6, 30.0 - i / 6) for i in range(37)])
    placed = (PROBE, Placement("q", "A", WARM, T0))
    (apart,) = zone(store, *placed, apart_c=2.0).disagreements
    assert apart.probes == ("p", "q")
    assert (apart.hours, apart.longest_hours) == pytest.approx((4.0, 4.0))
    assert apart.most_c == pytest.approx(6.0)
    assert zone(store, *placed, apart_c=6.0).disagreements == ()
    assert zone(store, *placed).disagreements == ()


def test_humidity_of_the_enclosure_is_of_all_zones_but_the_room(store: Store) -> None:
    for probe, value in (("p", 60.0), ("q", 80.0), ("r", 20.0)):
        store.steady(probe, 0, 10, value, quantity=HUMIDITY)
    placed = [
        Placement("p", "A", Zone.HIDE, T0),
        Placement("q", "A", COOL, T0),
        Placement("r", "A", ROOM, T0),
    ]
    line = zone(store, *placed, zones=set(Zone) - {ROOM}, quantity=HUMIDITY).line
    assert line is not None
    assert set(line.start_c.tolist()) == {70.0}


def test_a_room_probe_measures_for_every_enclosure_of_its_room() -> None:
    placed = Placement("r", "A", ROOM, T0)
    houses = [Enclosure("A", "cellar"), Enclosure("B", "cellar"), Enclosure("C", "attic")]
    found = room_placements([placed, PROBE], houses)
    assert {one.enclosure for one in found} == {"A", "B"}
    assert [one.enclosure for one in room_placements([placed], [Enclosure("A")])] == ["A"]
    assert [one.enclosure for one in room_placements([placed], [])] == ["A"]


# ---- decoded days ---------------------------------------------------------------------------


def test_the_days_held_are_bounded_and_give_the_same(store: Store) -> None:
    store.steady("p", 0, 24 * 9, 30.0)
    key = SeriesKey("p", TEMPERATURE)
    plenty, few = Tracks(store.reader), Tracks(store.reader, most_readings=200)
    for first, hours in ((0, 200), (30, 20), (100, 90), (0, 5), (3, 0)):
        window = T0 + first * HOUR, T0 + (first + hours) * HOUR
        one, other = plenty.readings(key, *window), few.readings(key, *window)
        assert one[0].tolist() == other[0].tolist()
        assert len(one[0]) == hours * 6
        assert few.held <= 200
