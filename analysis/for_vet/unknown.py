"""What is not known: as much a part of the paper as what is. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.for_vet.days import COOL, HUMIDITY, ROOM, WARM, ZoneDays
from analysis.for_vet.report import VetReport
from analysis.verdict import NO_PROBE
from analysis.verdict_words import CANNOT_TELL
from analysis.words import HOUR_MS, hours, local_time, plain
from collector.book.records import Outcome
from collector.readings import Quantity

_NAMED = 6
_IN_DAYS_H = 96.0


def not_known(of: VetReport) -> list[str]:
    """Every gap that a reader should know of, in sentences: readings first, then the book."""
    return [
        *_warm_side(of),
        *_other_zones(of),
        *_homes(of),
        *_calibration(of),
        *_meals(of),
        *_body(of),
        *_who(of),
        *_nothing_written(of),
        CANNOT_TELL,
    ]


def long(value_h: float) -> str:
    """A long time: in days from four on, rounded down, else in hours."""
    return f"{value_h // 24:,.0f} days" if value_h >= _IN_DAYS_H else hours(value_h)


def _span_h(of: VetReport) -> float:
    return (of.end_ms - of.start_ms) / HOUR_MS


def _warm_side(of: VetReport) -> Iterator[str]:
    zone = of.zones[WARM]
    if not zone.placed:
        yield "No probe lay on its warm side in this period: how warm it was is not known."
        return
    yield from _coverage("The warm side", zone, of)
    if zone.by_hour:
        yield (
            f"Of {long(zone.by_hour)} of that only the lowest, mean and highest of each hour are "
            "kept: there, time below the floor is counted where a whole hour was below it, and may "
            "have been more."
        )


def _coverage(name: str, zone: ZoneDays, of: VetReport) -> Iterator[str]:
    span_h = _span_h(of)
    missing_h = span_h - zone.known_h
    if missing_h * 60 < of.settings.review.gap_minutes:
        yield f"{name} is known for all {long(span_h)} of the period."
        return
    share = 100 * zone.known_h / span_h
    said = f"{name} is known for {long(zone.known_h)} of {long(span_h)} ({share:.0f} %)"
    if not zone.longest:
        yield f"{said}; no gap is as long as an hour."
        return
    longest = zone.longest[0]
    count = "One gap is" if zone.gaps == 1 else f"{zone.gaps:,d} gaps are"
    begun = local_time(round(longest.start_ms), of.settings.zone)
    longest_is = "it lasts" if zone.gaps == 1 else "the longest lasts"
    yield (
        f"{said}. {count} an hour or longer; {longest_is} {long(longest.hours)}, from {begun}. "
        "Nothing was filled in."
    )


def _other_zones(of: VetReport) -> Iterator[str]:
    why = {
        COOL: "No cool-side probe: how cool it could lie is not known, nor the least that "
        "digestion can have come to.",
        HUMIDITY: "No humidity probe: how damp the air was is not known.",
        ROOM: "No room probe: how warm the room was is not known.",
    }
    for name, without in why.items():
        zone = of.zones[name]
        if not zone.placed:
            yield without
        elif zone.known_h <= 0:
            yield f"The {name} probe was not heard in this period."
        else:
            yield from _coverage(f"The {name}" if name != HUMIDITY else "Humidity", zone, of)


def _homes(of: VetReport) -> Iterator[str]:
    if not of.stays:
        yield "Where it lived in this period is not in the book, so no reading can be told its own."
    elif of.stays[0].since_ms > of.start_ms:
        since = local_time(of.stays[0].since_ms, of.settings.zone)
        yield f"Where it lived before {since} is not in the book."


def _calibration(of: VetReport) -> Iterator[str]:
    known = {
        (one.id, quantity)
        for one in of.settings.probe
        for quantity, given in (
            (Quantity.TEMPERATURE, (one.temperature_offset_c, one.temperature_two_point_c)),
            (Quantity.HUMIDITY, (one.humidity_offset_pct, one.humidity_two_point_pct)),
        )
        if any(part is not None for part in given)
    }
    names = of.settings.probe_names
    without = [
        f"{plain(names.get(probe, probe))} ({quantity})"
        for probe, quantity in of.probes
        if (probe, quantity) not in known
    ]
    if without:
        more = f" and {len(without) - _NAMED} more" if len(without) > _NAMED else ""
        yield (
            f"No calibration is known of: {', '.join(without[:_NAMED])}{more}. They are taken as "
            "they read; a probe that lies wrong by a degree moves every figure here by a degree."
        )


def _meals(of: VetReport) -> Iterator[str]:
    reviews = [one.review for one in of.meals]
    unjudged = [one for one in reviews if one.verdict in ("not enough readings", NO_PROBE)]
    if unjudged:
        yield (
            f"{_of(len(unjudged), len(reviews))} could not be judged: too few readings, or no "
            "probe on the warm side."
        )
    hidden = sum(one.possible != one.verdict for one in reviews if one not in unjudged)
    if hidden:
        yield f"{_of(hidden, len(reviews))} can have been worse than judged, hidden in gaps."
    open_still = sum(one.outcome is None for one in reviews)
    if open_still:
        yield f"What became of {_of(open_still, len(reviews))} is not in the book."
    unsized = sum(one.digestion.model_days_at_30c is None for one in reviews)
    if unsized:
        yield f"Prey or body mass is not known of {_of(unsized, len(reviews))}."
    signless = sum(
        one.record.outcome is not None and one.record.outcome.came_back
        and one.record.signs is None
        for one in of.meals
    )  # fmt: skip
    if signless:
        yield f"{_times(signless)} it was not written down whether mucus or blood came up with it."


def _body(of: VetReport) -> Iterator[str]:
    if not of.masses:
        yield "It was never weighed."
        return
    weighed = [one for one in of.masses if one.at_ms >= of.start_ms]
    last = local_time(of.masses[-1].at_ms, of.settings.zone)
    if not weighed:
        yield f"It was not weighed in this period; the last weighing is of {last}."
    elif all(one.fed for one in weighed):
        yield "Every weighing of this period was taken with a meal inside."
    if not any(one.length_cm is not None for one in of.weighings):
        yield "Its length was not measured in this period."
    if not of.looks:
        yield "Nobody wrote down a look at its body (spine, ribs, skin, tail, vent, neck)."


def _who(of: VetReport) -> Iterator[str]:
    who = of.animal
    missing = [
        name
        for name, thing in (("species", who.species), ("sex", who.sex), ("birth", who.born))
        if thing is None
    ]
    if missing:
        yield f"Not in the book: its {' and '.join(missing)}."


def _nothing_written(of: VetReport) -> Iterator[str]:
    empty = [
        name
        for name, records in (
            ("droppings", of.droppings), ("sheds", of.sheds), ("handling", of.handlings),
        )
        if not records
    ]  # fmt: skip
    if empty:
        yield (
            f"Nothing was written down of {' or '.join(empty)} in this period. That does not say "
            "that there was none."
        )


def _of(count: int, among: int) -> str:
    return f"{count} of {among} meals" if among != 1 else "the one meal"


def _times(count: int) -> str:
    return "Once" if count == 1 else f"{count} times"


def refused(of: VetReport) -> int:
    """How many offers were refused."""
    return sum(one.outcome is Outcome.REFUSED for one in of.offers)
