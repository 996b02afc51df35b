"""Books of meals dealt at random, with real lines and real records, for what a pattern claims.

Animals differ in how often their meals come back, in how cold their nights are and in how they are
kept. In a book without effect none of that has to do with one another inside an animal.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analysis.at_risk import Fed, fed, hours_of
from analysis.exposure import Line, line_of
from analysis.gathering import Facts, Gathered
from analysis.window import DAY_MS, HOUR_MS, meal_window
from collector.book.records import Animal, FedIn, Handling, Meal, Outcome, PreyState
from config.care import load_care_profile

CARE = load_care_profile("boa-constrictor")
T0 = 1_700_000_000_000
FOLLOWED_H = 14 * 24
COLD_H = 8.0


def book(
    rng: np.random.Generator,
    *,
    effect: float = 0.0,
    animals: int | None = None,
    meals: int | None = None,
    spells: bool = False,
    reacts: bool = False,
) -> list[Fed]:
    """The meals of one book. `effect`: the chance that a long cold spell in the first two days
    brings a meal up again within a day of its end. `spells`: each animal has a bad time in which
    most of its meals come back, and a cold time, the two having nothing to do with each other.
    `reacts`: after a meal that came back the keeper waits two weeks and longer, offers half as
    much, mends the heater for good, and from then on seldom handles the animal after a meal."""
    many = animals or int(rng.integers(1, 13))
    gathered = [
        one
        for number in range(many)
        for one in _of_animal(
            rng,
            f"animal {number}",
            meals or int(rng.integers(8, 45)),
            effect=effect,
            spells=spells,
            reacts=reacts,
        )
    ]
    numbered = [replace(one, meal=replace(one.meal, meal=i + 1)) for i, one in enumerate(gathered)]
    facts = Facts.of_records(
        animals=[Animal(f"animal {number}") for number in range(many)],
        meals=[one.meal for one in numbered],
    )
    hours = hours_of(facts, CARE, now_ms=T0 + 5_000 * DAY_MS)
    return [fed(one, hours[one.meal.meal], CARE) for one in numbered]


def _of_animal(
    rng: np.random.Generator, name: str, meals: int, *, effect: float, spells: bool, reacts: bool
) -> list[Gathered]:
    often = np.full(meals, rng.beta(1.0, 9.0))
    cold = np.full(meals, rng.uniform(0.02, 0.4))
    if spells:
        often, cold = np.full(meals, 0.03), np.full(meals, 0.02)
        length = max(3, meals // 5)
        for of, level in ((often, 0.6), (cold, 0.5)):
            at = int(rng.integers(0, meals - length + 1))
            of[at : at + length] = level
    box, handled = rng.beta(1, 2), rng.beta(1, 2)
    found, at_ms, before = [], T0, None
    for turn in range(meals):
        rested = reacts and before is not None and bool(before.outcome and before.outcome.came_back)
        at_ms += int((rng.uniform(6, 16) + 8.0 * rested) * DAY_MS)
        warm, cold_spells = _warm(rng, at_ms, cold[turn])
        back_h = float(rng.lognormal(math.log(45), 0.6)) if rng.random() < often[turn] else None
        long = [end for start, end in cold_spells if end - start >= COLD_H and start < 48]
        if long and rng.random() < effect:
            back_h = long[0] + float(rng.uniform(1, 24))
        if back_h is not None:
            back_h = min(back_h, 5 * 24.0)
        meal = Meal(
            meal=0,
            animal=name,
            taken_at_ms=at_ms,
            prey_state=PreyState(rng.choice([state.value for state in PreyState])),
            fed_in=FedIn.BOX if rng.random() < box else FedIn.ENCLOSURE,
            outcome=Outcome.PASSED if back_h is None else Outcome.REGURGITATED,
            outcome_at_ms=at_ms + round((back_h or 240.0) * HOUR_MS),
            prey_width_mm=float(rng.uniform(20, 40)),
            prey_surface_c=float(rng.uniform(28, 45)),
        )
        found.append(
            _gathered(rng, meal, warm, before, handled=handled, portion=0.5 if rested else 1.0)
        )
        before = meal
        if reacts and back_h is not None:
            cold[turn:], handled = 0.02, handled / 4
    return found


def _warm(
    rng: np.random.Generator, at_ms: int, spells_a_day: float
) -> tuple[Line, list[tuple[float, float]]]:
    hours = np.arange(FOLLOWED_H + 1, dtype=np.float64)
    value = 31.0 + 0.5 * np.sin(hours * 2 * np.pi / 24)
    spells = []
    for start in np.sort(rng.uniform(0, FOLLOWED_H, rng.poisson(spells_a_day * 14))):
        end = start + rng.uniform(2, 20)
        value[(hours >= start) & (hours < end)] -= rng.uniform(4, 10)
        spells.append((float(start), float(end)))
    keep = np.ones(len(hours), dtype=np.bool_)
    if rng.random() < 0.2:  # a power cut leaves a gap
        cut = int(rng.integers(0, FOLLOWED_H - 30))
        keep[cut : cut + int(rng.integers(2, 30))] = False
    return line_of(at_ms + hours[keep] * HOUR_MS, value[keep], 1.5 * HOUR_MS), spells


def _gathered(
    rng: np.random.Generator,
    meal: Meal,
    warm: Line,
    before: Meal | None,
    *,
    handled: float,
    portion: float,
) -> Gathered:
    at_ms = meal.taken_at_ms or 0
    window = meal_window(meal, [], [], CARE, at_ms + 100 * DAY_MS)
    handlings = [
        Handling(meal.animal, at_ms + int(rng.uniform(0, 120) * HOUR_MS), 10.0)
        for _ in range(int(rng.random() < handled))
    ]
    return Gathered(
        meal=meal,
        window=window,
        until_ms=at_ms + FOLLOWED_H * HOUR_MS,
        now_ms=at_ms + 100 * DAY_MS,
        animal=None,
        enclosure=None,
        warm=warm,
        cool=None,
        humidity=None,
        room=None,
        warm_probes=(),
        disagreements=(),
        handlings=tuple(handlings),
        body_mass_g=1000.0,
        midbody_mm=30.0,
        meal_pct=float(rng.uniform(6, 26)) * portion,
        age_months=40,
        meal_before=before,
    )
