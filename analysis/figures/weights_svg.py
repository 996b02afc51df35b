"""An animal's weighings as SVG text, for the page: points, and a line through those without a meal.

A weighing with a meal still inside stands as an open mark and not on the line: it weighs the meal
too. No script, no inline style, no id; its colours are those of the page's style sheet, by class.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

import numpy as np

from analysis.figures.labels import estimated_width
from analysis.figures.reduce import Path, reduced
from analysis.figures.round_steps import round_steps
from analysis.figures.svg_parts import LETTERS as _LETTERS
from analysis.figures.svg_parts import number as _n
from analysis.figures.svg_parts import text as _text
from analysis.figures.svg_parts import word as _word
from analysis.weights import Weight
from analysis.words import DAY_MS, local_day_of, local_time, mass, named_day, shown_mass
from config.settings import Settings

_MARK = 3.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_STEPS_OF_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400)
_SHORTEST_MS = 14 * DAY_MS
"""A chart of a single weighing, or of two of one day, still has a width."""


@dataclass(frozen=True, slots=True)
class _Ground:
    """Where the inside lies, and how moments and masses become lengths."""

    start_ms: float
    end_ms: float
    high: float
    left: float
    right: float
    top: float
    bottom: float

    def x(self, at_ms: float) -> float:
        share = (at_ms - self.start_ms) / (self.end_ms - self.start_ms)
        return self.left + share * (self.right - self.left)

    def y(self, value: float) -> float:
        """From a mass in the keeper's unit. The axis begins at nothing."""
        return self.bottom - value / self.high * (self.bottom - self.top)


def weights_svg(
    weights: Sequence[Weight],
    settings: Settings,
    sentence: str,
    *,
    width: float = 720,
    height: float = 200,
) -> str:
    """One `<svg>` element; empty without a weighing. `sentence` says it in words."""
    if not weights:
        return ""
    ground = _ground(weights, settings, width, height)
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plot weights" role="img" '
            f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}" height="{_n(height)}">'
        ),
        f"<title>{_text(sentence)}</title>",
        *_masses(ground, settings),
        *_dates(ground, settings.zone),
        *_line(ground, weights, settings, width),
        *_marks(ground, weights, settings),
        *_end(ground, weights[-1], settings),
        "</svg>",
    ]
    return "".join(parts)


def _ground(weights: Sequence[Weight], settings: Settings, width: float, height: float) -> _Ground:
    start_ms, end_ms = float(weights[0].at_ms), float(weights[-1].at_ms)
    if end_ms - start_ms < _SHORTEST_MS:
        start_ms = end_ms - _SHORTEST_MS
    highest = max(shown_mass(one.mass_g, settings) for one in weights)
    ends = _end_words(weights[-1], settings)
    left = max(estimated_width(mass_tick(tick), _LETTERS) for tick in round_steps(highest)) + 8
    right = width - max(estimated_width(text, 1.1 * _LETTERS) for text in ends) - 10
    return _Ground(start_ms, end_ms, highest * 1.08, left, right, 20.0, height - 1.6 * _LETTERS)


def mass_tick(value: float) -> str:
    """A round mass without its unit."""
    return f"{value:,.2f}".rstrip("0").rstrip(".")


def _masses(ground: _Ground, settings: Settings) -> Iterator[str]:
    for tick in round_steps(ground.high / 1.08):
        y = ground.y(tick)
        yield (
            f'<line class="plot-degree" x1="{_n(ground.left)}" y1="{_n(y)}" '
            f'x2="{_n(ground.right)}" y2="{_n(y)}"/>'
        )
        yield _word(ground.left - 5, y + 4, mass_tick(tick), "plot-tick", "end")
    yield _word(0, 10, settings.show.mass, "plot-tick")


def _dates(ground: _Ground, zone: tzinfo) -> Iterator[str]:
    most = max(2, int((ground.right - ground.left) / 90))
    for at_ms, text in month_starts(ground.start_ms, ground.end_ms, zone, most):
        x = ground.x(at_ms)
        yield (
            f'<line class="plot-midnight" x1="{_n(x)}" y1="{_n(ground.top)}" x2="{_n(x)}" '
            f'y2="{_n(ground.bottom)}"/>'
        )
        yield _word(x + 3, ground.bottom + 1.3 * _LETTERS, text, "plot-day")


def month_starts(
    start_ms: float, end_ms: float, zone: tzinfo, most: int
) -> list[tuple[float, str]]:
    """Beginnings of months within [start_ms, end_ms], named, at most `most` of them; where there
    is none, the first day itself."""
    first, last = (local_day_of(round(at_ms), zone) for at_ms in (start_ms, end_ms))
    months = range(first.year * 12 + first.month, last.year * 12 + last.month)
    found: list[int] = []
    for step in _STEPS_OF_MONTHS:
        found = [month for month in months if month % step == 0]
        if len(found) <= most:
            break
    if not found:
        return [(start_ms, f"{named_day(first, last)}")]
    return [(_month_ms(month, zone), _month_words(month, found[0])) for month in found]


def _month_ms(month: int, zone: tzinfo) -> float:
    return datetime(month // 12, month % 12 + 1, 1, tzinfo=zone).timestamp() * 1000


def _month_words(month: int, first: int) -> str:
    day = date(month // 12, month % 12 + 1, 1)
    with_year = month == first or day.month == 1
    return f"{_MONTHS[day.month - 1]} {day.year}" if with_year else _MONTHS[day.month - 1]


def _line(
    ground: _Ground, weights: Sequence[Weight], settings: Settings, width: float
) -> Iterator[str]:
    empty = [one for one in weights if not one.fed]
    if len(empty) < 2:
        return
    path = Path(
        np.array([one.at_ms for one in empty], dtype=np.float64),
        np.array([shown_mass(one.mass_g, settings) for one in empty]),
    )
    shown = reduced(path, ground.start_ms, ground.end_ms, round(2 * width))
    points = zip(shown.at_ms.tolist(), shown.value.tolist(), strict=True)
    drawn = "M" + "L".join(f"{_n(ground.x(at))} {_n(ground.y(value))}" for at, value in points)
    yield f'<path class="plot-line plot-warm-side" fill="none" d="{drawn}"/>'


def _marks(ground: _Ground, weights: Sequence[Weight], settings: Settings) -> Iterator[str]:
    """Every weighing, but of those that would lie on one another the last."""
    places = {
        (round(x / _MARK), round(y / _MARK), one.fed): (x, y, one)
        for one in weights
        for x, y in [(ground.x(one.at_ms), ground.y(shown_mass(one.mass_g, settings)))]
    }
    for x, y, one in places.values():
        name = "weight-fed" if one.fed else "weight-empty"
        said = f"{mass(one.mass_g, settings)}, {local_time(one.at_ms, settings.zone)}"
        inside = ", a meal inside" if one.fed else ""
        yield (
            f'<circle class="{name}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(_MARK)}">'
            f"<title>{_text(said + inside)}</title></circle>"
        )


def _end_words(last: Weight, settings: Settings) -> tuple[str, ...]:
    day = local_day_of(last.at_ms, settings.zone)
    words = (mass(last.mass_g, settings), f"{day.day} {_MONTHS[day.month - 1]} {day.year}")
    return (*words, "a meal inside") if last.fed else words


def _end(ground: _Ground, last: Weight, settings: Settings) -> Iterator[str]:
    words, row_px = _end_words(last, settings), 1.25 * _LETTERS
    lowest = ground.bottom - row_px * (len(words) - 1)
    x, y = ground.right + 8, min(ground.y(shown_mass(last.mass_g, settings)) + 4, lowest)
    for row, text in enumerate(words):
        yield _word(x, y + row_px * row, text, "plot-end" if row else "plot-end-warm")
