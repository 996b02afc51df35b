"""What became of meals against how long their warm side was cold, as SVG text for the page.

Each meal is a mark. Along: hours below the floor; those of none stand by themselves on the left.
Up: a lane for each outcome, in which marks of the same hours stand one upon the other. An outcome
is told by its lane, its word and its shape, and by colour only besides. No script, no inline style.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.figures.labels import estimated_width
from analysis.figures.round_steps import round_steps
from analysis.figures.svg_parts import LETTERS as _LETTERS
from analysis.figures.svg_parts import line as _line
from analysis.figures.svg_parts import number as _n
from analysis.figures.svg_parts import text as _text
from analysis.figures.svg_parts import word as _word

Lane = Literal["came back", "stayed down", "not known yet"]
LANES: tuple[Lane, ...] = ("came back", "stayed down", "not known yet")

_ROW = 17.0
_PITCHES = (9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0)
"""From mark to mark, the widest that all of them fit with."""
_HIGHEST = 260.0
"""How high all lanes together may be."""
_NONE_SHARE = 0.18
_BETWEEN = 14.0
_SHORTEST_H = 12.0


@dataclass(frozen=True, slots=True)
class Point:
    """One meal: how long its warm side was below the floor, what became of it, and its words."""

    cold_h: float
    lane: Lane
    words: str


@dataclass(frozen=True, slots=True)
class _Ground:
    """Where the marks stand: columns of `pitch`, of which the first `none` are for no cold."""

    pitch: float
    none: int
    left: float
    columns: int
    longest_h: float

    def column(self, cold_h: float) -> int:
        """The column of a meal that was cold at all, counted from the axis's 0."""
        return min(self.columns - 1, int(cold_h / self.longest_h * self.columns))

    def x(self, cold_h: float) -> float:
        return self.left + cold_h / self.longest_h * self.columns * self.pitch


def outcomes_svg(
    points: Sequence[Point], floor_words: str, sentence: str, *, width: float = 720
) -> str:
    """One `<svg>` element. `floor_words` name the floor; `sentence` says the picture in words."""
    lanes = [lane for lane in LANES if any(one.lane == lane for one in points)]
    ground = _fitting(points, lanes, width)
    heights = _heights(points, lanes, ground)
    parts: list[str] = []
    y = 0.0
    for lane in lanes:
        own = [one for one in points if one.lane == lane]
        y += _ROW
        parts.append(_word(0, y - 4, f"{lane}: {len(own):,}", "plot-end-warm"))
        y += heights[lane]
        parts.append(_line("plot-midnight", 0, y, width, y))
        parts += _marks(own, ground, y - 1, heights[lane])
        y += 6
    parts += _axis(ground, y, floor_words, any(one.cold_h <= 0 for one in points))
    height = y + 2.9 * _LETTERS
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot outcomes" role="img" '
        f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}" height="{_n(height)}">'
        f"<title>{_text(sentence)}</title>"
    )
    return "".join([head, *parts, "</svg>"])


# ---- room ------------------------------------------------------------------------------------


def _fitting(points: Sequence[Point], lanes: Sequence[Lane], width: float) -> _Ground:
    """The ground with the largest marks that fit; with the smallest they lie on one another."""
    for pitch in _PITCHES[:-1]:
        ground = _ground(points, pitch, width)
        rows = sum(max(2, _rows(points, lane, ground)) for lane in lanes)
        if rows * pitch <= _HIGHEST:
            return ground
    return _ground(points, _PITCHES[-1], width)


def _ground(points: Sequence[Point], pitch: float, width: float) -> _Ground:
    longest = max([_SHORTEST_H, *(one.cold_h for one in points)])
    some_never = any(one.cold_h <= 0 for one in points)
    none = max(round(width * _NONE_SHARE / pitch), int(54 / pitch)) if some_never else 0
    left = none * pitch + (_BETWEEN if none else 0.0)
    return _Ground(pitch, none, left, int((width - left) / pitch), longest * 1.02)


def _rows(points: Sequence[Point], lane: Lane, ground: _Ground) -> int:
    """How many marks stand one upon the other, at most."""
    cold = Counter(
        ground.column(one.cold_h) for one in points if one.lane == lane and one.cold_h > 0
    )
    never = sum(one.lane == lane and one.cold_h <= 0 for one in points)
    return max([-(-never // ground.none) if ground.none else 0, *cold.values()])


def _heights(points: Sequence[Point], lanes: Sequence[Lane], ground: _Ground) -> dict[Lane, float]:
    wanted = {lane: ground.pitch * max(2, _rows(points, lane, ground)) for lane in lanes}
    over = sum(wanted.values()) / _HIGHEST
    return {lane: max(2 * ground.pitch, high / max(1.0, over)) for lane, high in wanted.items()}


# ---- what is drawn ---------------------------------------------------------------------------


def _marks(own: Sequence[Point], ground: _Ground, base: float, height: float) -> Iterator[str]:
    filled: Counter[int] = Counter()
    places: list[tuple[float, int, Point]] = []
    never = 0
    for one in sorted(own, key=lambda point: point.cold_h):
        if one.cold_h <= 0:
            column, row = never % ground.none, never // ground.none
            never += 1
            places.append(((column + 0.5) * ground.pitch, row, one))
        else:
            column = ground.column(one.cold_h)
            places.append((ground.left + (column + 0.5) * ground.pitch, filled[column], one))
            filled[column] += 1
    rows = max((row + 1 for _, row, _ in places), default=1)
    step = min(ground.pitch, height / rows)
    for x, row, one in places:
        yield _mark(one, x, base - (row + 0.5) * step, 0.42 * ground.pitch)


def _mark(one: Point, x: float, y: float, r: float) -> str:
    title = f"<title>{_text(one.words)}</title>"
    if one.lane == "came back":
        drawn = f"M{_n(x - r)} {_n(y - r)}h{_n(2 * r)}l{_n(-r)} {_n(2 * r)}z"
        return f'<path class="mark-back" d="{drawn}">{title}</path>'
    if one.lane == "stayed down":
        return f'<circle class="mark-down" cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}">{title}</circle>'
    side = _n(1.7 * r)
    return (
        f'<rect class="mark-open" x="{_n(x - 0.85 * r)}" y="{_n(y - 0.85 * r)}" width="{side}" '
        f'height="{side}">{title}</rect>'
    )


def _axis(ground: _Ground, y: float, floor_words: str, some_never: bool) -> Iterator[str]:
    right = ground.left + ground.columns * ground.pitch
    if some_never:
        yield _word(0, y + _LETTERS, "never", "plot-tick")
    for hour in round_steps(ground.longest_h):
        x = ground.x(hour)
        yield _line("plot-midnight", x, y, x, y + 4)
        text = f"{hour:,.6g} h"
        anchor = "end" if x + estimated_width(text, _LETTERS) / 2 > right else "middle"
        yield _word(x, y + 4 + _LETTERS, text, "plot-tick", "start" if hour == 0 else anchor)
    yield _word(0, y + 2.5 * _LETTERS, f"hours below {floor_words}", "plot-day")
