"""The ribbon laid out in lengths of a picture: what both renderers draw, in order.

x to the right, y downwards, as in SVG. Above the strip stand the marks' words, below it the days,
to its right what became of the meal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.figures.labels import WidthOf, Word, estimated_width, place_words
from analysis.figures.ribbon import SCALE_DAYS, RibbonShape

TextKind = Literal["word", "ending", "day"]
Anchor = Literal["start", "middle", "end"]
StrokeKind = Literal["missing", "ahead", "tick", "event", "outcome"]


@dataclass(frozen=True, slots=True)
class Area:
    """A strip of one colour."""

    step: int
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A thin line. "missing" is dotted."""

    kind: StrokeKind
    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True)
class Text:
    """A text on its base line at y; x is its left end, its middle or its right end."""

    kind: TextKind
    x: float
    y: float
    text: str
    anchor: Anchor = "start"


@dataclass(frozen=True, slots=True)
class RibbonLayout:
    """Everything to draw, and how much room it takes."""

    width: float
    height: float
    areas: tuple[Area, ...]
    strokes: tuple[Stroke, ...]
    texts: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class RibbonSize:
    """How large a ribbon is drawn: the whole width, the quiet strip's height, the letters."""

    width: float = 640.0
    strip: float = 30.0
    letters: float = 12.0
    small: float = 10.0
    days: bool = True
    scale_days: float = SCALE_DAYS

    @property
    def row(self) -> float:
        """Height of a row of words."""
        return 1.35 * self.letters

    @property
    def per_day(self) -> float:
        """Length of a day: the same for every meal."""
        return self.width / self.scale_days


def ribbon_layout(shape: RibbonShape, size: RibbonSize, width_of: WidthOf) -> RibbonLayout:
    """Lay the ribbon out; `width_of` measures a text of `size.letters`."""
    words = place_words(
        [Word(mark.at_d * size.per_day, mark.word) for mark in shape.marks if mark.word],
        size.width,
        0.5 * size.letters,
        lambda text: width_of(text) + 2 * _pad(size),
    )
    beside = _fits_beside(shape, size, width_of)
    rows = max((word.row + 1 for word in words), default=0)
    above = size.row * (rows + (0 if beside else 1))
    base = above + size.strip * max(shape.top, 1.1)
    return RibbonLayout(
        width=size.width,
        height=base + size.small * (1.6 if size.days else 0.4),
        areas=_areas(shape, size, base),
        strokes=(
            *_ticks(size, base),
            *_base_lines(shape, size, base),
            *_mark_lines(shape, size, base, _word_tops(words, size, above)),
        ),
        texts=(
            *_words(words, size, above),
            *_ending(shape, size, base, beside, width_of),
            *(_days(size, base) if size.days else ()),
        ),
    )


def _pad(size: RibbonSize) -> float:
    return 0.3 * size.letters


def _end_x(shape: RibbonShape, size: RibbonSize) -> float:
    last = max([shape.length_d, *(mark.at_d for mark in shape.marks)])
    return last * size.per_day + 0.7 * size.letters


def _fits_beside(shape: RibbonShape, size: RibbonSize, width_of: WidthOf) -> bool:
    return not shape.ending or _end_x(shape, size) + width_of(shape.ending) <= size.width


def _areas(shape: RibbonShape, size: RibbonSize, base: float) -> tuple[Area, ...]:
    return tuple(
        Area(strip.step, tuple((x * size.per_day, base - y * size.strip) for x, y in strip.points))
        for strip in shape.strips
    )


def _base_lines(shape: RibbonShape, size: RibbonSize, base: float) -> list[Stroke]:
    lines = [
        Stroke("missing", a * size.per_day, base, b * size.per_day, base) for a, b in shape.missing
    ]
    if shape.expected_d is not None:
        end = min(shape.expected_d, size.scale_days) * size.per_day
        lines.append(Stroke("ahead", shape.length_d * size.per_day, base, end, base))
        # Downwards, clear of the words that stand to the right of the strip.
        lines.append(Stroke("ahead", end, base, end, base + 0.45 * size.small))
    return lines


def _ticks(size: RibbonSize, base: float) -> list[Stroke]:
    length = 0.45 * size.small
    days = range(math.floor(size.scale_days) + 1)
    return [Stroke("tick", d * size.per_day, base, d * size.per_day, base + length) for d in days]


def _word_tops(words: Sequence[Word], size: RibbonSize, above: float) -> dict[float, float]:
    """By place: how high a mark's line goes to reach the top of its word."""
    tops: dict[float, float] = {}
    for word in words:
        top = above - (word.row + 0.9) * size.row
        tops[word.at] = min(top, tops.get(word.at, top))
    return tops


def _mark_lines(
    shape: RibbonShape, size: RibbonSize, base: float, word_tops: Mapping[float, float]
) -> list[Stroke]:
    lines = []
    for mark in shape.marks:
        x = mark.at_d * size.per_day
        top = word_tops.get(x, base - size.strip * 1.1)
        lines.append(Stroke("outcome" if mark.ends_it else "event", x, top, x, base))
    return lines


def _words(words: Sequence[Word], size: RibbonSize, above: float) -> list[Text]:
    return [_word(word, size, above - (word.row + 0.3) * size.row) for word in words]


def _word(word: Word, size: RibbonSize, y: float) -> Text:
    if 0 < word.left < word.at:
        return Text("word", word.at - _pad(size), y, word.text, "end")
    return Text("word", word.left + _pad(size), y, word.text)


def _ending(
    shape: RibbonShape, size: RibbonSize, base: float, beside: bool, width_of: WidthOf
) -> list[Text]:
    if not shape.ending:
        return []
    if beside:
        middle = base - 0.5 * size.strip + 0.36 * size.letters
        return [Text("ending", _end_x(shape, size), middle, shape.ending)]
    if width_of(shape.ending) > size.width:
        return [Text("ending", 0.0, 0.7 * size.row, shape.ending)]
    return [Text("ending", size.width, 0.7 * size.row, shape.ending, "end")]


def _days(size: RibbonSize, base: float) -> list[Text]:
    """The days' numbers, every second one where the first would touch the next."""
    y = base + 1.35 * size.small
    first = Text("day", 0.0, y, "day 1")
    clear = estimated_width(first.text, size.small) + 0.8 * size.small
    step = 1 if 1.5 * size.per_day >= clear else 2
    later = range(1 + step, math.floor(size.scale_days) + 1, step)
    return [first, *(Text("day", (d - 0.5) * size.per_day, y, str(d), "middle") for d in later)]
