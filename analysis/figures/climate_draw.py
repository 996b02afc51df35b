"""The plot of an enclosure's temperatures on a sheet, for a meal and for an alarm alike.

Warm side, cool side and room are told apart by the weight of the line and a word at its end.
Gaps are gaps, with dots on the base line as in the ribbon; what lies beyond floor and hot limit
has the ribbon's colours, thinned, so that the other lines are seen on them.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection

from analysis.figures import climate as numbers
from analysis.figures.axis_draw import Frame, draw_days, draw_temperatures, rows_below
from analysis.figures.beside_draw import EndWord, draw_end_words, draw_events, event_words
from analysis.figures.climate import Climate, Scale, Track
from analysis.figures.paper import PNG_DPI, Sheet, width_of
from analysis.figures.ribbon_draw import DOTTED
from analysis.figures.scale import INK, PALE_INK, SOFT_INK, colour_of, tint_of
from analysis.words import temperature
from config.settings import Settings

WARM, COOL, ROOM = "warm side", "cool side", "room"
# Where a thermostat cycles within a pixel a thin line is as wide as a thick one: so the lesser ones
# are also paler.
_PENS = {WARM: (INK, 1.4), COOL: (SOFT_INK, 0.6), ROOM: (PALE_INK, 0.4)}
_COLD_INK, _HOT_INK = colour_of(-8), colour_of(8)


@dataclass(frozen=True, slots=True)
class Box:
    """Where on the sheet the plot stands, with the words at its sides, and its letters."""

    left: float
    top: float
    width: float
    height: float
    letters: float


def draw_climate(sheet: Sheet, climate: Climate, settings: Settings, box: Box) -> Axes:
    """Draw the plot into its box and return its axes."""
    row = 1.35 * box.letters
    found = _tracks(climate, round(box.width * PNG_DPI / 72))
    ends = _end_words(found, climate, settings)
    right = max(width_of(e.text, box.letters, bold=e.bold) for e in ends) + box.letters
    left = width_of("36 °C", box.letters) + 0.6 * box.letters
    inner = box.width - left - right
    words = event_words(climate, inner, inner + right, box.letters)
    above = row * max((w.row + 1 for w in words), default=0)
    below = row * rows_below(climate, inner, box.letters) + 0.2 * row
    height = box.height - above - below
    frame = Frame(
        sheet,
        sheet.axes(box.left + left, box.top + above, inner, height),
        climate,
        Scale(climate.start_ms, settings),
        settings,
        inner,
        height,
        box.letters,
    )
    _set_limits(frame, list(found.values()))
    draw_days(frame)
    draw_temperatures(frame)
    _draw_beyond(frame, found.get(WARM))
    _draw_limits(frame, numbers.limits_reached(found.get(WARM), climate))
    _draw_tracks(frame, found)
    _draw_gaps(frame, found.get(WARM))
    draw_events(frame, words)
    draw_end_words(frame, ends)
    return frame.axes


def _tracks(climate: Climate, columns: int) -> dict[str, Track]:
    """What each probe's line is, by name, the most important first; none without a probe."""
    lines = {WARM: climate.warm, COOL: climate.cool, ROOM: climate.room}
    found = {name: numbers.track(name, line, climate, columns) for name, line in lines.items()}
    return {name: one for name, one in found.items() if one is not None}


def _end_words(found: dict[str, Track], climate: Climate, settings: Settings) -> list[EndWord]:
    ends = [
        EndWord(name, one.last_c, INK if name == WARM else SOFT_INK, name == WARM)
        for name, one in found.items()
        if one.last_c is not None
    ]
    floor, hot = climate.floor_c, climate.hot_c
    ends.append(EndWord(f"floor {temperature(floor, settings)}", floor, _COLD_INK))
    ends.append(EndWord(f"too hot {temperature(hot, settings)}", hot, _HOT_INK))
    reached = numbers.limits_reached(found.get(WARM), climate)
    ends += [EndWord(temperature(level, settings), level, _COLD_INK) for level in reached]
    return ends


def _set_limits(frame: Frame, found: list[Track]) -> None:
    low, high = numbers.range_c(found, frame.climate)
    frame.axes.set_xlim(0, frame.scale.x(frame.climate.end_ms))
    frame.axes.set_ylim(frame.scale.y(low), frame.scale.y(high))


def _draw_beyond(frame: Frame, warm: Track | None) -> None:
    parts = numbers.beyond(warm, frame.climate) if warm is not None else []
    corners = []
    for part in parts:
        level = frame.climate.floor_c if part.step < 0 else frame.climate.hot_c
        line = [(frame.scale.x(at), frame.scale.y(c)) for at, c in part.points]
        base = frame.scale.y(level)
        corners.append([(line[0][0], base), *line, (line[-1][0], base)])
    colours = [tint_of(part.step) for part in parts]
    shades = PolyCollection(
        corners, facecolors=colours, edgecolors=colours, linewidths=0.3, label="beyond limits"
    )
    frame.axes.add_collection(shades, autolim=False)


def _draw_limits(frame: Frame, reached: list[float]) -> None:
    for level, colour, name in (
        (frame.climate.floor_c, _COLD_INK, "floor"),
        (frame.climate.hot_c, _HOT_INK, "hot limit"),
    ):
        frame.axes.axhline(frame.scale.y(level), color=colour, linewidth=0.9, label=name)
    for level in reached:
        frame.axes.axhline(
            frame.scale.y(level),
            color=_COLD_INK,
            linewidth=0.5,
            linestyle=(0, (5, 3)),
            label="lower limit",
        )


def _draw_tracks(frame: Frame, found: dict[str, Track]) -> None:
    for name, one in reversed(found.items()):
        colour, weight = _PENS[name]
        frame.axes.plot(
            *frame.scale.broken_line(one.paths),
            color=colour,
            linewidth=weight,
            solid_joinstyle="round",
            solid_capstyle="round",
            label=name,
        )


def _draw_gaps(frame: Frame, warm: Track | None) -> None:
    if warm is None or not warm.paths:
        text = "no probe on the warm side" if warm is None else "no readings from the warm side"
        frame.write(0.5, 0.5, text, horizontalalignment="center")
    if warm is None:
        return
    spans = [(frame.scale.x(a), frame.scale.x(b)) for a, b in numbers.gaps(warm, frame.climate)]
    bottom = frame.axes.get_ylim()[0]
    dots = LineCollection(
        [[(a, bottom), (b, bottom)] for a, b in spans],
        colors=SOFT_INK,
        linewidths=1.4,
        linestyles=[DOTTED],
        label="gaps",
        clip_on=False,
        zorder=3,
    )
    dots.set_capstyle("round")
    frame.axes.add_collection(dots, autolim=False)
    if warm.paths:
        _name_gaps(frame, spans)


def _name_gaps(frame: Frame, spans: list[tuple[float, float]]) -> None:
    """Say it in the gaps that are wide enough, on one line or on two."""
    length = frame.scale.x(frame.climate.end_ms)
    for a, b in spans:
        room = (b - a) / length * frame.width - 4
        texts = ["no readings"]
        if width_of(texts[0], frame.letters) > room:
            texts = ["no", "readings"]
        if max(width_of(text, frame.letters) for text in texts) > room:
            continue
        for row, text in enumerate(reversed(texts)):
            y = (0.7 + 1.2 * row) * frame.letters / frame.height
            frame.write((a + b) / 2 / length, y, text, horizontalalignment="center")
