"""The plot of an enclosure's temperatures on a sheet, for a meal and for an alarm alike.

Warm side, cool side and room are told apart by the weight of the line and a word at its end.
Gaps are gaps, with dots on the base line as in the ribbon; what lies beyond floor and hot limit
has the ribbon's colours.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection

from analysis.figures import climate as numbers
from analysis.figures.axis_draw import Frame, draw_days, draw_temperatures
from analysis.figures.climate import Climate, Scale, Track
from analysis.figures.labels import Word, place_words, spread
from analysis.figures.paper import PNG_DPI, Sheet, width_of
from analysis.figures.ribbon_draw import DOTTED
from analysis.figures.scale import HAIRLINE, INK, SOFT_INK, colour_of
from analysis.words import temperature
from config.settings import Settings

_WEIGHTS = {"warm side": (INK, 1.5), "cool side": (INK, 0.6), "room": (SOFT_INK, 0.4)}
_COLD_INK, _HOT_INK = colour_of(-8), colour_of(8)


@dataclass(frozen=True, slots=True)
class Box:
    """Where on the sheet the plot stands, with the words at its sides, and its letters."""

    left: float
    top: float
    width: float
    height: float
    letters: float


@dataclass(frozen=True, slots=True)
class EndWord:
    """A word at the right end of a line."""

    text: str
    value_c: float
    colour: str
    bold: bool = False


def draw_climate(sheet: Sheet, climate: Climate, settings: Settings, box: Box) -> Axes:
    """Draw the plot into its box and return its axes."""
    row = 1.35 * box.letters
    columns = round(box.width * PNG_DPI / 72)
    found = [
        t
        for name, line in (
            ("warm side", climate.warm),
            ("cool side", climate.cool),
            ("room", climate.room),
        )
        if (t := numbers.track(name, line, climate, columns)) is not None
    ]
    ends = _end_words(found, climate, settings)
    right = max(width_of(e.text, box.letters, bold=e.bold) for e in ends) + box.letters
    left = 2.6 * box.letters
    inner = box.width - left - right
    words = _event_words(climate, inner, inner + right, box.letters)
    above = row * max((w.row + 1 for w in words), default=0)
    below = 2.2 * row
    height = box.height - above - below
    axes = sheet.axes(box.left + left, box.top + above, inner, height)
    frame = Frame(
        sheet,
        axes,
        climate,
        Scale(climate.start_ms, settings),
        settings,
        inner,
        height,
        box.letters,
    )
    _set_limits(frame, found)
    draw_days(frame)
    draw_temperatures(frame)
    _draw_beyond(frame, found)
    _draw_limits(frame)
    _draw_tracks(frame, found)
    _draw_gaps(frame, found)
    _draw_events(frame, words, row)
    _draw_end_words(frame, ends)
    return axes


def _end_words(found: list[Track], climate: Climate, settings: Settings) -> list[EndWord]:
    ends = [
        EndWord(t.name, t.last_c, _WEIGHTS[t.name][0], t.name == "warm side")
        for t in found
        if t.last_c is not None
    ]
    floor, hot = climate.floor_c, climate.hot_c
    ends.append(EndWord(f"floor {temperature(floor, settings)}", floor, _COLD_INK))
    ends.append(EndWord(f"too hot {temperature(hot, settings)}", hot, _HOT_INK))
    return ends


def _event_words(climate: Climate, inner: float, room: float, size: float) -> list[Word]:
    span = climate.end_ms - climate.start_ms
    marks = [
        Word((event.at_ms - climate.start_ms) / span * inner, event.word)
        for event in climate.events
        if climate.start_ms <= event.at_ms <= climate.end_ms
    ]
    return place_words(marks, room, 0.5 * size, lambda text: width_of(text, size) + 0.6 * size)


def _set_limits(frame: Frame, found: list[Track]) -> None:
    low, high = numbers.range_c(found, frame.climate)
    frame.axes.set_xlim(0, frame.scale.x(frame.climate.end_ms))
    frame.axes.set_ylim(frame.scale.y(low), frame.scale.y(high))


def _draw_beyond(frame: Frame, found: list[Track]) -> None:
    parts = [p for t in found if t.name == "warm side" for p in numbers.beyond(t, frame.climate)]
    corners = []
    for part in parts:
        level = frame.climate.floor_c if part.step < 0 else frame.climate.hot_c
        line = [(frame.scale.x(at), frame.scale.y(c)) for at, c in part.points]
        base = frame.scale.y(level)
        corners.append([(line[0][0], base), *line, (line[-1][0], base)])
    colours = [colour_of(part.step) for part in parts]
    shades = PolyCollection(
        corners, facecolors=colours, edgecolors=colours, linewidths=0.3, label="beyond limits"
    )
    frame.axes.add_collection(shades, autolim=False)


def _draw_limits(frame: Frame) -> None:
    climate = frame.climate
    for level, colour, name in (
        (climate.floor_c, _COLD_INK, "floor"),
        (climate.hot_c, _HOT_INK, "hot limit"),
    ):
        frame.axes.axhline(frame.scale.y(level), color=colour, linewidth=0.9, label=name)
    bottom = frame.axes.get_ylim()[0]
    for level in climate.lower_limits_c:
        at = frame.scale.y(level)
        if at <= bottom:
            continue
        frame.axes.axhline(
            at, color=_COLD_INK, linewidth=0.5, linestyle=(0, (5, 3)), label=f"limit {level:g}"
        )


def _draw_tracks(frame: Frame, found: list[Track]) -> None:
    for one in reversed(found):
        colour, weight = _WEIGHTS[one.name]
        x, y = frame.scale.broken_line(one.paths)
        frame.axes.plot(
            x,
            y,
            color=colour,
            linewidth=weight,
            solid_joinstyle="round",
            solid_capstyle="round",
            label=one.name,
        )


def _draw_gaps(frame: Frame, found: list[Track]) -> None:
    warm = next((t for t in found if t.name == "warm side"), None)
    bottom = frame.axes.get_ylim()[0]
    if warm is None or not warm.paths:
        text = "no probe on the warm side" if warm is None else "no readings from the warm side"
        frame.sheet.write(
            0.5,
            0.5,
            text,
            frame.letters,
            axes=frame.axes,
            colour=SOFT_INK,
            transform=frame.axes.transAxes,
            horizontalalignment="center",
        )
    if warm is None:
        return
    spans = [(frame.scale.x(a), frame.scale.x(b)) for a, b in numbers.gaps(warm, frame.climate)]
    dots = LineCollection(
        [[(a, bottom), (b, bottom)] for a, b in spans],
        colors=SOFT_INK,
        linewidths=1.3,
        linestyles=[DOTTED],
        label="gaps",
        clip_on=False,
    )
    dots.set_capstyle("round")
    frame.axes.add_collection(dots, autolim=False)
    if warm.paths:
        _name_gaps(frame, spans)


def _name_gaps(frame: Frame, spans: list[tuple[float, float]]) -> None:
    per_hour = frame.width / frame.scale.x(frame.climate.end_ms)
    for text in ("no readings", "none"):
        wide = [s for s in spans if (s[1] - s[0]) * per_hour > width_of(text, frame.letters) + 4]
        for a, b in wide:
            frame.sheet.write(
                (a + b) / 2,
                frame.letters * 0.6 / frame.height,
                text,
                frame.letters,
                axes=frame.axes,
                colour=SOFT_INK,
                horizontalalignment="center",
                transform=frame.axes.get_xaxis_transform(),
            )
        if wide:
            return


def _draw_events(frame: Frame, words: list[Word], row: float) -> None:
    """A line from the word, above the plot, down through it."""
    for event in frame.climate.events:
        if frame.climate.start_ms <= event.at_ms <= frame.climate.end_ms:
            frame.axes.axvline(
                frame.scale.x(event.at_ms),
                color=INK,
                linewidth=1.4 if event.ends_it else 0.7,
                label="event",
            )
    span_h = frame.scale.x(frame.climate.end_ms)
    for word in words:
        foot = 1 + (word.row + 0.3) * row / frame.height
        frame.axes.plot(
            [word.at / frame.width * span_h] * 2,
            [1, foot + 0.6 * row / frame.height],
            color=INK,
            linewidth=0.7,
            clip_on=False,
            transform=frame.axes.get_xaxis_transform(),
        )
        frame.sheet.write(
            (word.left + 0.3 * frame.letters) / frame.width,
            foot,
            word.text,
            frame.letters,
            axes=frame.axes,
            colour=SOFT_INK,
            transform=frame.axes.transAxes,
        )


def _draw_end_words(frame: Frame, ends: list[EndWord]) -> None:
    low, high = frame.axes.get_ylim()
    share = [(frame.scale.y(e.value_c) - low) / (high - low) for e in ends]
    places = spread([s * frame.height for s in share], 1.25 * frame.letters, 0.0, frame.height)
    for end, at, place in zip(ends, share, places, strict=True):
        moved = place / frame.height
        frame.axes.plot(
            [1, 1 + 0.6 * frame.letters / frame.width],
            [at, moved],
            color=HAIRLINE,
            linewidth=0.7,
            clip_on=False,
            transform=frame.axes.transAxes,
        )
        frame.sheet.write(
            1 + 0.8 * frame.letters / frame.width,
            moved - 0.36 * frame.letters / frame.height,
            end.text,
            frame.letters,
            axes=frame.axes,
            bold=end.bold,
            colour=end.colour,
            transform=frame.axes.transAxes,
        )
