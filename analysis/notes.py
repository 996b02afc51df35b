"""What to ask the keeper before the next meal, and what to mind when feeding. Pure, and light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis import words
from analysis.in_shed import InShed
from analysis.window import DAY_MS, body_mass_g, full_length_ms, meal_pct, midbody_mm
from collector.book.records import Meal, Outcome, Weighing
from config.care import CareProfile
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class Notes:
    """Whole sentences. `ask`: what the book does not say; `mind`: what to mind."""

    ask: tuple[str, ...] = ()
    mind: tuple[str, ...] = ()


def notes(  # noqa: PLR0917  # records first, then what they are judged by
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    shed: InShed | None,
    shares_with: Sequence[str],
    enclosure: str | None,
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> Notes:
    """One animal's notes from records up to now."""
    return Notes(
        ask=(
            *_outcome(meals, weighings, care, settings, now_ms),
            *_offer(meals, settings, now_ms),
            *_shed(shed, settings, now_ms),
            *_width(weighings, now_ms),
        ),
        mind=(
            *_refused(meals, now_ms),
            *_together(shares_with, enclosure),
            *_second_person(weighings, care, settings),
        ),
    )


def _outcome(
    meals: Sequence[Meal],
    weighings: Sequence[Weighing],
    care: CareProfile,
    settings: Settings,
    now_ms: int,
) -> Iterator[str]:
    """The last meal, once its time is up: what is not written down is not assumed."""
    taken = [one for one in meals if one.taken_at_ms is not None and one.taken_at_ms <= now_ms]
    last = max(taken, key=lambda one: one.taken_at_ms or 0, default=None)
    if last is None or last.outcome is not None or last.taken_at_ms is None:
        return
    pct = meal_pct(last, body_mass_g(weighings, last.taken_at_ms))
    if now_ms - last.taken_at_ms >= full_length_ms(pct, care):
        day = words.local_day(last.taken_at_ms, settings.zone)
        rest = care.feeding.rest_after_regurgitation_days.value
        yield (
            f"What became of the meal of {day} is not in the book; if it came back, wait "
            f"{rest:.0f} days from then."
        )


def _offer(meals: Sequence[Meal], settings: Settings, now_ms: int) -> Iterator[str]:
    """The newest offer, neither taken nor refused nor removed."""
    offered = [
        one for one in meals if one.offered_at_ms is not None and one.offered_at_ms <= now_ms
    ]
    newest = max(offered, key=lambda one: one.offered_at_ms or 0, default=None)
    if newest is None or newest.offered_at_ms is None:
        return
    if newest.taken_at_ms is None and newest.outcome is None and newest.removed_at_ms is None:
        when = words.local_time(newest.offered_at_ms, settings.zone)
        yield f"The prey offered on {when} has no end in the book: taken, refused, removed?"


def _shed(shed: InShed | None, settings: Settings, now_ms: int) -> Iterator[str]:
    if shed is not None and shed.ask:
        day, days = words.local_day(shed.since_ms, settings.zone), now_ms - shed.since_ms
        yield (
            f"Found in shed on {day}, {days // DAY_MS} days ago, and no skin in the book since: "
            "look whether it is over."
        )


def _width(weighings: Sequence[Weighing], now_ms: int) -> Iterator[str]:
    if weighings and midbody_mm(weighings, now_ms) is None:
        yield "How wide the prey may be is not known: measure the animal at mid-body."


def _refused(meals: Sequence[Meal], now_ms: int) -> Iterator[str]:
    """Offers refused since the last meal; a refusal is no meal, and the interval runs on."""
    taken_ms = max(
        (one.taken_at_ms for one in meals if one.taken_at_ms is not None), default=-DAY_MS
    )
    count = sum(
        one.outcome is Outcome.REFUSED and taken_ms < (one.offered_at_ms or 0) <= now_ms
        for one in meals
    )
    if count:
        offers = "offer" if count == 1 else "offers"
        yield f"It refused {words.count(count)} {offers} since its last meal."


def _together(shares_with: Sequence[str], enclosure: str | None) -> Iterator[str]:
    if shares_with and enclosure is not None:
        names = ", ".join(map(words.plain, shares_with))
        yield f"It shares {words.plain(enclosure)} with {names}: feed them apart. [common practice]"


def _second_person(
    weighings: Sequence[Weighing], care: CareProfile, settings: Settings
) -> Iterator[str]:
    lengths = [one.length_cm for one in weighings if one.length_cm is not None]
    limit = care.feeding.second_person_cm.value
    if lengths and max(lengths) >= limit:
        size = words.body_length(limit, settings)
        yield f"It is {size} or longer: feed with a second person present. [common practice]"
