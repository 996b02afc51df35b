"""The invented story holds together, whenever and however long it is told."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.demo.calendar import DAY_MS, HOUR_MS, Calendar
from analysis.demo.collection import ANIMALS, PROBES, SORREL, TANSY, ZONE
from analysis.demo.history import PARTS, reading_times
from analysis.demo.meals import Offer
from analysis.demo.story import Story, write_story
from collector.book.records import Outcome, ShedStage
from hardware.rack.faults import FOREVER_MS, Fallen, Heater, HeaterFault, PowerCut, ThermostatDrift

NOW_MS = 1_795_600_800_000  # 2026-11-25 10:00 UTC
FULL = write_story(Calendar(NOW_MS, 400), 7)

stories = st.builds(
    lambda now_min, days, seed: write_story(Calendar(now_min * 60_000, days), seed),
    now_min=st.integers(1_600_000_000 // 60, 2_200_000_000 // 60),
    days=st.integers(20, 400),
    seed=st.integers(0, 1000),
)


def by_animal(story: Story) -> dict[str, list[Offer]]:
    found: dict[str, list[Offer]] = defaultdict(list)
    for offer in story.offers:
        found[offer.kept.animal].append(offer)
    return found


def test_equal_arguments_tell_the_same_story() -> None:
    again = write_story(Calendar(NOW_MS, 400), 7)
    assert again == FULL
    assert write_story(Calendar(NOW_MS, 400), 8) != FULL


def test_the_full_story_has_all_its_trouble() -> None:
    offers = by_animal(FULL)
    assert {name: 33 <= len(mine) <= 45 for name, mine in offers.items()} == {
        kept.animal: True for kept in ANIMALS
    }
    back = [o for o in FULL.offers if o.outcome is not None and o.outcome.came_back]
    assert len(back) == 4
    assert len({o.kept for o in back}) == 4
    assert sum(o.outcome is Outcome.REFUSED for o in FULL.offers) == 3
    kinds = [type(f) for f in FULL.faults]
    assert [kinds.count(kind) for kind in (PowerCut, Fallen, ThermostatDrift)] == [1, 1, 1]
    heaters = {f.heater for f in FULL.faults if isinstance(f, HeaterFault)}
    assert heaters == {Heater.OFF, Heater.STUCK_ON}
    assert len(FULL.highlights) == 10
    assert [stay.animal for stay in FULL.stays].count(TANSY.animal) == 2
    # Every probe lay somewhere; the two of the young one's moved along, one was replaced.
    assert {seat.probe for seat in FULL.seats} == {p.probe for p in PROBES}
    assert len(FULL.sheds) > 15
    assert any(s.animal == SORREL.animal for s in FULL.sheds)


def test_the_keeper_saw_dull_eyes_droppings_and_signs() -> None:
    dull = [s for s in FULL.sheds if s.stage is ShedStage.IN_SHED]
    off = [s for s in FULL.sheds if s.stage is ShedStage.SHED]
    assert 0.5 * len(off) < len(dull) < len(off)
    for one in dull:
        assert any(
            s.animal == one.animal and 4 * DAY_MS < s.at_ms - one.at_ms < 10 * DAY_MS for s in off
        )
    passed = [o for o in FULL.offers if o.outcome is Outcome.PASSED]
    assert len(FULL.droppings) == len(passed)
    assert {o.animal for o in FULL.looks} == {kept.animal for kept in ANIMALS}
    seen = [o.signs for o in FULL.offers if o.outcome is not None and o.outcome.came_back]
    assert sorted(str(one) for one in seen) == ["mucus", "none", "none", "none"]
    assert all(o.signs is None for o in FULL.offers if o.outcome is None or not o.outcome.came_back)


def test_the_full_story_has_meals_that_are_not_over() -> None:
    open_ones = [o for o in FULL.offers if o.outcome is None]
    assert len(open_ones) >= 2
    assert FULL.highlights[0].text == "under way now"
    assert NOW_MS - FULL.highlights[0].taken_ms < 3 * DAY_MS


@settings(max_examples=60, deadline=None)
@given(stories)
def test_nothing_happens_before_its_cause_or_after_now(story: Story) -> None:
    now_ms = story.calendar.now_ms
    for offer in story.offers:
        assert story.calendar.start_ms <= offer.offered_ms < now_ms
        taken, ended = offer.taken_ms, offer.outcome_ms
        assert (taken is None) == (offer.outcome is Outcome.REFUSED)
        assert taken is None or offer.offered_ms < taken < now_ms
        assert (ended is None) == (offer.outcome is None)
        assert ended is None or offer.offered_ms < ended <= now_ms
        assert offer.prey_g > 0
        assert 15 <= offer.surface_c <= 40
    seen = (story.weighings, story.handlings, story.looks, story.droppings, story.sheds)
    for at_ms in (one.at_ms for records in seen for one in records):
        assert story.calendar.start_ms <= at_ms < now_ms


@settings(max_examples=60, deadline=None)
@given(stories)
def test_an_animal_is_left_alone_after_a_meal_that_came_back(story: Story) -> None:
    for offers in by_animal(story).values():
        for before, after in pairwise(offers):
            assert after.offered_ms - before.offered_ms > 8 * DAY_MS
            if before.outcome is not None and before.outcome.came_back and after is not offers[-1]:
                assert after.offered_ms - before.offered_ms > 13.5 * DAY_MS
        assert offers[-1].offered_ms > story.calendar.now_ms - 9 * DAY_MS


@settings(max_examples=60, deadline=None)
@given(stories)
def test_a_probe_lies_in_one_place_at_a_time(story: Story) -> None:
    seats = defaultdict(list)
    for seat in story.seats:
        assert seat.from_ms < seat.until_ms
        seats[seat.probe].append(seat)
    for mine in seats.values():
        for before, after in pairwise(mine):
            assert before.until_ms <= after.from_ms
    # Every place that is there now is read now.
    assert sum(s.until_ms == FOREVER_MS for s in story.seats) == len(story.layout_now().probe) == 11


def test_every_probe_is_in_one_part_of_the_history() -> None:
    everyone = [probe for part in PARTS for probe in part]
    assert sorted(p.probe for p in everyone) == sorted(p.probe for p in PROBES)


def test_reading_times_leave_no_gap() -> None:
    times = list(reading_times(FULL.calendar))
    steps = {after - before for before, after in pairwise(times)}
    assert steps == {120_000, 300_000}
    assert times[0] == FULL.calendar.start_ms
    assert NOW_MS - times[-1] <= 120_000


def test_the_calendar_follows_the_clocks_of_the_zone() -> None:
    # Clocks in Lisbon went from 02:00 to 01:00 on 25 October 2026 (EU summer-time rule: the last
    # Sunday of October): the day before at 20:00 is 19:00 UTC, the day after 20:00 UTC.
    calendar = Calendar(NOW_MS, 400)
    before, after = calendar.at(32, 20.0), calendar.at(30, 20.0)
    assert after - before == 2 * DAY_MS + HOUR_MS
    assert ZONE.key == "Europe/Lisbon"


@pytest.mark.parametrize("days", [20, 45, 120, 400])
def test_the_cold_night_is_in_every_story(days: int) -> None:
    story = write_story(Calendar(NOW_MS, days), 7)
    (night,) = [f for f in story.faults if isinstance(f, HeaterFault) and f.heater is Heater.OFF]
    assert night.until_ms < NOW_MS
    assert any(o.offered_ms < night.from_ms < (o.outcome_ms or 0) for o in story.offers)
