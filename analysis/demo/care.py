"""Everyday care in the story: doors opened, animals weighed and handled, skins found, water."""

from __future__ import annotations

from analysis.demo.calendar import DAY_MS, HOUR_MS, MINUTE_MS
from analysis.demo.collection import ANIMALS, ENCLOSURES, PILCHARD, TANSY, Kept
from analysis.demo.draft import Draft
from analysis.demo.meals import body_cm, body_g, midbody_mm
from collector.book.records import Handling, Shed, Weighing
from hardware.rack.faults import Misting

_REST_HOURS = 60
"""This keeper leaves an animal alone for longer than the 48 h of common practice."""
_BETWEEN_SHEDS_MS = 25 * DAY_MS
_REASONS = ("looked over for mites", "enclosure cleaned", "exercise", "water bowl upset")


def add_care(draft: Draft) -> None:
    """Write the everyday into the story."""
    for kept in ANIMALS:
        for offer in draft.offers[kept]:
            draft.open_door(kept, offer.offered_ms, 3)
        _weigh(draft, kept)
        _handle(draft, kept)
        _shed(draft, kept)
    _impatience(draft)
    _mist(draft)


def _quiet(draft: Draft, kept: Kept, at_ms: int) -> bool:
    """True when no meal is being digested just then."""
    return not any(
        0 <= at_ms - o.taken_ms < _REST_HOURS * HOUR_MS
        for o in draft.offers[kept]
        if o.taken_ms is not None
    )


def _weigh(draft: Draft, kept: Kept) -> None:
    calendar, draw = draft.calendar, draft.draw
    every = 14 if kept is TANSY else 28
    for about in range(calendar.days - 1, 0, -every):
        for days_ago in range(about, max(about - 8, 0), -1):
            at_ms = calendar.at(days_ago, draw.uniform(9.5, 11.5))
            if calendar.start_ms <= at_ms < calendar.now_ms and _quiet(draft, kept, at_ms):
                draft.weighings.append(_weighing(draft, kept, at_ms))
                draft.handlings.append(Handling(kept.animal, at_ms, 8.0, "weighed"))
                draft.open_door(kept, at_ms, 4)
                break


def _weighing(draft: Draft, kept: Kept, at_ms: int) -> Weighing:
    true_g = body_g(kept, draft.calendar.days_ago(at_ms))
    grams = true_g * draft.draw.gauss(1.0, 0.006)
    measured = draft.draw.random() < 0.5  # a tape is not laid along a boa every time
    return Weighing(
        animal=kept.animal,
        at_ms=at_ms,
        mass_g=round(grams / 10) * 10 if grams > 1000 else float(round(grams)),
        length_cm=round(body_cm(true_g) + draft.draw.gauss(0, 0.7), 1) if measured else None,
        midbody_mm=round(midbody_mm(true_g) + draft.draw.gauss(0, 0.4), 1) if measured else None,
    )


def _handle(draft: Draft, kept: Kept) -> None:
    calendar, draw = draft.calendar, draft.draw
    for days_ago in range(calendar.days - 1, 0, -1):
        at_ms = calendar.at(days_ago, draw.uniform(16.0, 18.5))
        if draw.random() > 0.11 or not _quiet(draft, kept, at_ms) or at_ms < calendar.start_ms:
            continue
        minutes, reason = float(draw.randint(5, 30)), draw.choice(_REASONS)
        draft.handlings.append(Handling(kept.animal, at_ms, minutes, reason))
        draft.open_door(kept, at_ms, 3)


def _impatience(draft: Draft) -> None:
    """Twice an animal was handled too soon and nothing came of it: rules are not fate."""
    plain = [o for o in draft.offers[PILCHARD] if not o.scripted and o.taken_ms is not None]
    for meal in plain[2:-2:14][:2]:
        if meal.taken_ms is not None:
            at_ms = meal.taken_ms + 40 * HOUR_MS
            draft.handlings.append(Handling(PILCHARD.animal, at_ms, 10.0, "enclosure cleaned"))
            draft.open_door(PILCHARD, at_ms, 5)


def _shed(draft: Draft, kept: Kept) -> None:
    calendar, draw = draft.calendar, draft.draw
    days_ago = draw.randint(8, kept.shed_days)
    while days_ago < calendar.days - 1:
        at_ms = calendar.at(days_ago, draw.uniform(7.5, 9.0))
        whole = "in one piece" if draw.random() < 0.8 else "in pieces; misted more"
        if not any(abs(s.at_ms - at_ms) < _BETWEEN_SHEDS_MS for s in _sheds_of(draft, kept)):
            draft.sheds.append(Shed(kept.animal, at_ms, whole))
        days_ago += round(kept.shed_days * draw.uniform(0.8, 1.2))


def _sheds_of(draft: Draft, kept: Kept) -> list[Shed]:
    return [s for s in draft.sheds if s.animal == kept.animal]


def _mist(draft: Draft) -> None:
    calendar, draw = draft.calendar, draft.draw
    for build in ENCLOSURES:
        for days_ago in range(calendar.days - 1, 0, -1):
            if draw.random() < 0.25:
                at_ms = calendar.at(days_ago, draw.uniform(20.0, 22.0))
                draft.faults.append(Misting(build.name, at_ms, at_ms + 2 * MINUTE_MS))
