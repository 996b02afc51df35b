"""What is gathered around a meal: neighbours, age, handling, enclosure, lines and their reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from analysis.gathering import Facts, Gathered, gathered_from
from analysis.review import review
from analysis.tracks import Tracks
from analysis.window import DAY_MS
from collector.book.records import (
    Animal,
    Dropping,
    Handling,
    Meal,
    Outcome,
    Placement,
    Shed,
    Stay,
    Weighing,
    Zone,
)
from collector.readings import Quantity, Reading
from collector.store.columns import Columns
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.settings import Settings
from tests.analysis.lines import HOUR, MINUTE, T0
from tests.analysis.meals import CARE, SETTINGS

MEAL = Meal(meal=7, animal="Maren", taken_at_ms=T0, prey_mass_g=100.0)
LATER = T0 + 300 * DAY_MS


@pytest.fixture
def tracks(tmp_path: Path) -> Iterator[Tracks]:
    """A probe at 31 °C every ten minutes for twenty days."""
    archive = SqliteArchive(tmp_path / "archive.db")
    archive.write(
        Columns.of(
            Reading("p", Quantity.TEMPERATURE, T0 + i * 10 * MINUTE, 31.0) for i in range(20 * 144)
        )
    )
    archive.close()
    with Reader(tmp_path / "journal.db", tmp_path / "archive.db") as reader:
        yield Tracks(reader)


def gather(
    tracks: Tracks,
    *,
    meal: Meal = MEAL,
    settings: Settings = SETTINGS,
    until_ms: int | None = None,
    placed: Placement | None = None,
    **records: object,
) -> Gathered:
    placements = (placed or Placement("p", "A", Zone.WARM_SIDE, T0 - DAY_MS),)
    facts = Facts.of_records(
        **{
            "stays": [Stay("Maren", "A", T0 - DAY_MS), Stay("Ondo", "B", T0 - DAY_MS)],
            "weighings": [Weighing("Maren", T0, mass_g=1000.0, midbody_mm=40.0)],
            "placements": placements,
            "meals": [meal],
            **records,
        }  # type: ignore[arg-type]
    )
    return gathered_from(
        meal, facts, tracks, care=CARE, settings=settings, now_ms=LATER, until_ms=until_ms
    )


def test_masses_share_and_place(tracks: Tracks) -> None:
    one = gather(tracks)
    assert (one.body_mass_g, one.midbody_mm, one.meal_pct) == (1000.0, 40.0, 10.0)
    assert (one.enclosure, one.warm_probes, one.meal_before) == ("A", ("p",), None)


def test_before_the_first_stay_it_is_in_no_enclosure(tracks: Tracks) -> None:
    stays = [Stay("Maren", "A", T0 + 1)]
    assert gather(tracks, stays=stays).enclosure is None
    stays = [Stay("Maren", "A", T0 - 1, T0), Stay("Maren", "B", T0)]
    assert gather(tracks, stays=stays).enclosure == "B"


def test_the_meal_before_is_the_last_one_taken_by_the_same_animal(tracks: Tracks) -> None:
    def taken(number: int, days: float, animal: str = "Maren", **fields: object) -> Meal:
        at_ms = T0 + round(days * DAY_MS)
        return Meal(meal=number, animal=animal, taken_at_ms=at_ms, **fields)  # type: ignore[arg-type]

    meals = [
        taken(1, -20),
        taken(2, -9),
        taken(3, -4, outcome=Outcome.REFUSED),
        Meal(meal=4, animal="Maren", offered_at_ms=T0 - DAY_MS),
        taken(5, -1, "Ondo"),
        MEAL,
        taken(8, 3),
    ]
    one = gather(tracks, meals=meals)
    assert one.meal_before is not None
    assert one.meal_before.meal == 2
    assert (one.window.hours, one.window.ended_by) == (72.0, "next meal")


@pytest.mark.parametrize(
    ("born", "zone", "months"),
    [
        (None, "UTC", None),
        (date(2024, 9, 1), "UTC", 6),
        (date(2024, 9, 2), "UTC", 5),
        # At T0, midnight in UTC, it is still February in Denver.
        (date(2024, 9, 1), "America/Denver", 5),
        (date(2021, 5, 30), "UTC", 45),
    ],
)
def test_age_in_whole_months_by_the_homes_calendar(
    tracks: Tracks, born: date | None, zone: str, months: int | None
) -> None:
    animals = [Animal("Maren", born=born)]
    settings = Settings(time_zone=zone)
    assert gather(tracks, animals=animals, settings=settings).age_months == months


def test_handlings_of_the_window_in_order_and_one_still_going_on(tracks: Tracks) -> None:
    handlings = [
        Handling("Maren", T0 + 60 * HOUR),
        Handling("Maren", T0 + 5 * HOUR),
        Handling("Maren", T0 - 5 * MINUTE, minutes=10.0),
        Handling("Maren", T0 - 15 * MINUTE, minutes=10.0),
        Handling("Maren", T0 - 5 * MINUTE),
        Handling("Maren", T0 + 10 * DAY_MS),
        Handling("Ondo", T0 + HOUR),
    ]
    one = gather(tracks, handlings=handlings)
    assert [(h.at_ms - T0) / HOUR for h in one.handlings] == [pytest.approx(-1 / 12), 5.0, 60.0]


def test_lines_reach_further_when_asked_and_judge_no_further(tracks: Tracks) -> None:
    plain = gather(tracks)
    longer = gather(tracks, until_ms=T0 + 10 * DAY_MS)
    assert plain.warm is not None
    assert longer.warm is not None
    assert plain.warm.known_hours == pytest.approx(plain.window.hours)
    assert longer.warm.known_hours == pytest.approx(240.0)
    assert review(longer, CARE, SETTINGS) == review(plain, CARE, SETTINGS)
    assert gather(tracks, until_ms=T0 + HOUR).until_ms == plain.window.end_ms


def test_a_probe_placed_after_the_window_does_not_judge_the_meal(tracks: Tracks) -> None:
    placed = Placement("p", "A", Zone.WARM_SIDE, T0 + 8 * DAY_MS)
    one = gather(tracks, until_ms=T0 + 10 * DAY_MS, placed=placed)
    assert one.warm is not None
    assert review(one, CARE, SETTINGS).verdict == "no warm-side probe"


def test_a_meal_not_taken_has_nothing_to_gather(tracks: Tracks) -> None:
    with pytest.raises(ValueError, match="no window"):
        gather(tracks, meal=replace(MEAL, taken_at_ms=None))


def test_sheds_of_the_animal_up_to_now(tracks: Tracks) -> None:
    mine = [Shed("Maren", T0 - 90 * DAY_MS), Shed("Maren", LATER)]
    sheds = [*mine, Shed("Maren", LATER + 1), Shed("Ondo", T0)]
    assert gather(tracks, sheds=sheds).sheds == tuple(mine)


def test_droppings_and_masses_until_the_next_meal(tracks: Tracks) -> None:
    """What is found or weighed after the next meal was taken is that meal's."""
    after = Meal(8, "Maren", taken_at_ms=T0 + 10 * DAY_MS)
    refused = Meal(9, "Maren", offered_at_ms=T0 + 5 * DAY_MS, outcome=Outcome.REFUSED)
    times = [T0 - 1, T0, T0 + 9 * DAY_MS, T0 + 10 * DAY_MS]
    one = gather(
        tracks,
        meals=[MEAL, after, refused],
        droppings=[Dropping("Maren", at_ms) for at_ms in times],
        weighings=[Weighing("Maren", at_ms, mass_g=1000.0) for at_ms in times],
    )
    assert [found.at_ms for found in one.droppings] == times[1:3]
    assert [(mass.at_ms, mass.fed) for mass in one.masses] == [
        (times[0], False),
        (times[1], True),
        (times[2], False),
    ]
    alone = gather(tracks, droppings=[Dropping("Maren", LATER - 1), Dropping("Maren", LATER)])
    assert [found.at_ms for found in alone.droppings] == [LATER - 1]
