"""The post-meal plot: the ribbon, the temperatures, and the verdict in words beneath them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis import meal_words
from analysis.figures.climate import Climate
from analysis.figures.climate_draw import Box, draw_climate
from analysis.figures.paper import Sheet, drawing, known_suffix, wrapped
from analysis.figures.ribbon import Event, RibbonShape, ribbon_shape
from analysis.figures.ribbon_draw import draw_ribbon, laid_out
from analysis.figures.ribbon_layout import RibbonLayout, RibbonSize
from analysis.figures.scale import INK, SOFT_INK
from analysis.gathering import Gathered
from analysis.review import Review
from analysis.words import about_days, hours, plain, temperature, temperature_span
from config.care import CareProfile
from config.settings import Settings

CANNOT_TELL = (
    "What this cannot tell: the warm side is the warmest the animal can have been. A warm reading "
    "proves nothing about where it lay."
)
_WIDTH = 780.0
_MARGIN = 28.0
_PLOT_HEIGHT = 300.0
_TITLE, _HEADING, _BODY = 15.0, 13.0, 10.0
_LINE = 1.45


@dataclass(frozen=True, slots=True)
class Line:
    """One line of writing beneath or above the plot."""

    text: str
    size: float
    bold: bool = False
    colour: str = INK


def plot_meal(
    review: Review, gathered: Gathered, path: Path, settings: Settings, care: CareProfile
) -> None:
    """Draw one meal to a .png, .svg or .pdf file. Raises Unusable, one line, for what cannot be."""
    suffix = known_suffix(path)
    with drawing():
        meal_sheet(review, gathered, suffix, settings, care).save(path)


def meal_sheet(
    review: Review, gathered: Gathered, suffix: str, settings: Settings, care: CareProfile
) -> Sheet:
    """The sheet of one meal. To be called inside `drawing`."""
    inner = _WIDTH - 2 * _MARGIN
    head = _wrapped([Line(meal_words.meal_sentence(gathered.meal, settings), _TITLE, True)], inner)
    foot = _wrapped(verdict_lines(review, settings, care), inner)
    size = RibbonSize(width=inner)
    ribbon = laid_out(meal_ribbon(review, gathered, care), size)
    height = 2 * _MARGIN + _height(head) + ribbon.height + _PLOT_HEIGHT + _height(foot) + 44
    sheet = Sheet(_WIDTH, height, suffix)
    top = _write(sheet, head, _MARGIN) + 8
    top = _place_ribbon(sheet, ribbon, size, top)
    draw_climate(
        sheet,
        meal_climate(gathered, care),
        settings,
        Box(_MARGIN, top, inner, _PLOT_HEIGHT, _BODY),
    )
    _write(sheet, foot, top + _PLOT_HEIGHT + 18)
    return sheet


def meal_ribbon(review: Review, gathered: Gathered, care: CareProfile) -> RibbonShape:
    """The meal's ribbon over its window."""
    own, about_d = gathered.of_window(), review.digestion.model_days_at_30c
    window = own.window
    words = meal_words.ending(own.meal, window.end_ms, window.ended_by, about_d)
    return ribbon_shape(
        own.warm,
        window.start_ms,
        window.end_ms,
        floor_c=care.levels_c("below")[0],
        hot_c=care.levels_c("above")[0],
        events=meal_events(own),
        ending=words,
        expected_d=about_d if window.ended_by == "now" else None,
    )


def meal_climate(gathered: Gathered, care: CareProfile) -> Climate:
    """What the plot shows of the meal."""
    own = gathered.of_window()
    floor_c, *lower_c = care.levels_c("below")
    return Climate(
        own.window.start_ms,
        own.window.end_ms,
        own.warm,
        own.cool,
        own.room,
        floor_c=floor_c,
        hot_c=care.levels_c("above")[0],
        lower_limits_c=tuple(lower_c),
        events=meal_events(own),
    )


def meal_events(gathered: Gathered) -> tuple[Event, ...]:
    """Handling and outcome, in time order."""
    events = [Event(one.at_ms, "handled") for one in gathered.handlings]
    meal = gathered.meal
    if meal.outcome is not None and meal.outcome_at_ms is not None:
        events.append(Event(meal.outcome_at_ms, meal.outcome.value, ends_it=True))
    return tuple(sorted(events, key=lambda event: event.at_ms))


def verdict_lines(review: Review, settings: Settings, care: CareProfile) -> list[Line]:
    """The verdict, why, what is known, how far digestion can have come, what it cannot tell."""
    lines = [Line(_verdict_sentence(review), _HEADING, True)]
    lines += [
        Line(f"{reason[0].upper()}{reason[1:]}.", _BODY) for reason in map(_bare, review.reasons)
    ]
    lines.append(Line(_known_sentence(review, settings), _BODY))
    lines.append(Line(_digestion_sentence(review, care, settings), _BODY))
    lines.append(Line(CANNOT_TELL, _BODY, colour=SOFT_INK))
    return lines


def _bare(text: str) -> str:
    return plain(text).rstrip(".") or "no reason given"


def _verdict_sentence(review: Review) -> str:
    verdict = f"{review.verdict[0].upper()}{review.verdict[1:]}"
    if review.possible != review.verdict:
        return f"{verdict}. The gaps could hide: {review.possible}"
    return verdict


def _known_sentence(review: Review, settings: Settings) -> str:
    known = (
        f"The warm side is known for {hours(review.coverage.known_hours)} of "
        f"{hours(review.window.hours)}"
    )
    warm, cool = review.warm_side, review.cool_side
    if warm is None or warm.mean_c is None:
        return f"{known}."
    text = (
        f"{known}: {temperature_span(warm.min_c, warm.max_c, settings)}, "
        f"mean {temperature(warm.mean_c, settings)}"
    )
    if cool is not None and cool.mean_c is not None:
        text += f"; cool side {temperature_span(cool.min_c, cool.max_c, settings)}"
    return f"{text}."


def _digestion_sentence(review: Review, care: CareProfile, settings: Settings) -> str:
    found = review.digestion
    if found.model_days_at_30c is None or found.progress_warm_side is None:
        return "How far digestion can have come is not known: prey or body mass is not known."
    at = temperature(care.digestion.reference_c.value, settings)
    text = (
        f"By the model, {about_days(found.model_days_at_30c)} at a steady {at}; in this time "
        f"{_percent(found.progress_warm_side)} done if it always lay on the warm side"
    )
    if found.progress_cool_side is not None:
        text += f", {_percent(found.progress_cool_side)} if always on the cool side"
    return f"{text} (an estimate, at best within a quarter)."


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share < 1 else "all"


def _wrapped(lines: list[Line], width: float) -> list[Line]:
    return [
        Line(part, line.size, line.bold, line.colour)
        for line in lines
        for part in wrapped(line.text, width, line.size, bold=line.bold)
    ]


def _height(lines: list[Line]) -> float:
    return sum(line.size * _LINE for line in lines)


def _write(sheet: Sheet, lines: list[Line], top: float) -> float:
    """Write the lines down from `top`; return where the next would begin."""
    for line in lines:
        sheet.write(
            _MARGIN, top + line.size, line.text, line.size, bold=line.bold, colour=line.colour
        )
        top += line.size * _LINE
    return top


def _place_ribbon(sheet: Sheet, layout: RibbonLayout, size: RibbonSize, top: float) -> float:
    draw_ribbon(sheet, layout, size, _MARGIN, top)
    return top + layout.height + 14
