"""The plot of an enclosure's temperatures as SVG text, for the page: readable before any script.

What `climate_draw` draws by matplotlib, from the same numbers. No script, no inline style, no id;
its colours are those of the page's style sheet, by class, so that night has its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.figures import climate as numbers
from analysis.figures.climate import Climate, Track
from analysis.figures.days import local_days, midnights, named_days, nights, too_many_to_tell
from analysis.figures.labels import Word, estimated_width, place_words, spread
from analysis.figures.reduce import Path
from analysis.figures.scale import colour_of
from analysis.figures.svg_parts import LETTERS as _LETTERS
from analysis.figures.svg_parts import line as _line
from analysis.figures.svg_parts import number as _n
from analysis.figures.svg_parts import text as _text
from analysis.figures.svg_parts import word as _word
from analysis.words import named_day, shown_temperature, temperature, temperature_unit
from config.settings import Settings

_ROW = 16.0


@dataclass(frozen=True, slots=True)
class Ground:
    """Where the plot's inside lies, and how moments and temperatures become lengths."""

    climate: Climate
    settings: Settings
    width: float
    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    @property
    def inner(self) -> float:
        """Width of the inside."""
        return self.right - self.left

    def x(self, at_ms: float) -> float:
        """From a moment."""
        span = self.climate.end_ms - self.climate.start_ms
        return self.left + (at_ms - self.climate.start_ms) / span * self.inner

    def y(self, value_c: float) -> float:
        """From a temperature in °C."""
        return self.y_shown(shown_temperature(value_c, self.settings))

    def y_shown(self, value: float) -> float:
        """From a temperature in the keeper's unit."""
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)


def climate_svg(
    climate: Climate, settings: Settings, sentence: str, *, width: float = 720, height: float = 300
) -> str:
    """One `<svg>` element. `sentence` says it in words, for who cannot see the picture."""
    lines = {"warm side": climate.warm, "cool side": climate.cool, "room": climate.room}
    tracks = {
        name: one
        for name, line in lines.items()
        if (one := numbers.track(name, line, climate, round(2 * width))) is not None
    }
    ground, words = _ground(climate, settings, tracks, width, height)
    warm = tracks.get("warm side")
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" role="img" '
            f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}" height="{_n(height)}">'
        ),
        f"<title>{_text(sentence)}</title>",
        *_nights_and_days(ground),
        *_degrees(ground),
        *(_beyond(ground, warm) if warm is not None else ()),
        *_limits(ground, warm),
        *_lines(ground, tracks),
        *_gaps(ground, warm),
        *_events(ground, words),
        *_ends(ground, tracks, warm),
        "</svg>",
    ]
    return "".join(parts)


def _ground(
    climate: Climate, settings: Settings, tracks: dict[str, Track], width: float, height: float
) -> tuple[Ground, list[Word]]:
    ends = [*tracks, f"floor {temperature(climate.floor_c, settings)}", "too hot"]
    right = width - max(estimated_width(word, _LETTERS) for word in ends) - 14
    left = 2.2 * _LETTERS
    span = climate.end_ms - climate.start_ms
    words = place_words(
        [
            Word((one.at_ms - climate.start_ms) / span * (right - left), one.word)
            for one in climate.events
            if climate.start_ms <= one.at_ms <= climate.end_ms
        ],
        width - left,
        6.0,
        lambda text: estimated_width(text, _LETTERS) + 8,
    )
    above = _ROW * max((word.row + 1 for word in words), default=0) + 6
    low, high = numbers.range_c(list(tracks.values()), climate)
    shown = (shown_temperature(low, settings), shown_temperature(high, settings))
    return (
        Ground(climate, settings, width, left, right, above, height - 1.5 * _ROW, *shown),
        words,
    )


def _nights_and_days(ground: Ground) -> Iterator[str]:
    climate, zone = ground.climate, ground.settings.zone
    span = climate.start_ms, climate.end_ms
    told = not too_many_to_tell(*span)
    for start, end in nights(*span, zone) if told else ():
        x, w = ground.x(start), ground.x(end) - ground.x(start)
        yield (
            f'<rect class="plot-night" x="{_n(x)}" y="{_n(ground.top)}" width="{_n(w)}" '
            f'height="{_n(ground.bottom - ground.top)}"/>'
        )
    for at_ms in midnights(*span, zone) if told else ():
        yield _line("plot-midnight", ground.x(at_ms), ground.top, ground.x(at_ms), ground.bottom)
    days = local_days(climate.start_ms, climate.end_ms, zone)
    room = estimated_width("Wed 30 Sep", _LETTERS) + 10
    every = -(-int(room * max(1, len(days))) // int(ground.inner))
    for day in named_days(days, climate.start_ms, climate.end_ms, every):
        start, end = max(day.start_ms, climate.start_ms), min(day.end_ms, climate.end_ms)
        x = (ground.x(start) + ground.x(end)) / 2
        yield _word(x, ground.bottom + _ROW, named_day(day.day, day.day), "plot-day", "middle")


def _degrees(ground: Ground) -> Iterator[str]:
    unit = temperature_unit(ground.settings)
    ticks = numbers.temperature_ticks(ground.low, ground.high)
    for tick in ticks:
        y = ground.y_shown(tick)
        yield _line("plot-degree", ground.left, y, ground.right, y)
        said = f"{tick:.0f} {unit}" if tick == ticks[-1] else f"{tick:.0f}"
        anchor = "start" if tick == ticks[-1] else "end"
        x = 0.0 if tick == ticks[-1] else ground.left - 5
        yield _word(x, y - 3 if tick == ticks[-1] else y + 4, said, "plot-tick", anchor)


def _beyond(ground: Ground, warm: Track) -> Iterator[str]:
    for part in numbers.beyond(warm, ground.climate):
        level = ground.climate.floor_c if part.step < 0 else ground.climate.hot_c
        edge = [(ground.x(at), ground.y(c)) for at, c in part.points]
        base = ground.y(level)
        corners = [(edge[0][0], base), *edge, (edge[-1][0], base)]
        side = f"below-{-part.step}" if part.step < 0 else f"above-{part.step}"
        points = " ".join(f"{_n(x)},{_n(y)}" for x, y in corners)
        yield (
            f'<polygon class="plot-beyond ribbon-{side}" fill="{colour_of(part.step)}" '
            f'points="{points}"/>'
        )


def _limits(ground: Ground, warm: Track | None) -> Iterator[str]:
    climate = ground.climate
    for level, name in ((climate.floor_c, "plot-floor"), (climate.hot_c, "plot-hot")):
        y = ground.y(level)
        yield _line(name, ground.left, y, ground.right, y)
    for level in numbers.limits_reached(warm, climate):
        yield _line("plot-lower", ground.left, ground.y(level), ground.right, ground.y(level))


def _lines(ground: Ground, tracks: dict[str, Track]) -> Iterator[str]:
    for name, one in reversed(tracks.items()):
        drawn = "".join(_drawn(ground, path) for path in one.paths)
        if drawn:
            yield f'<path class="plot-line plot-{name.replace(" ", "-")}" fill="none" d="{drawn}"/>'


def _drawn(ground: Ground, path: Path) -> str:
    points = zip(path.at_ms.tolist(), path.value.tolist(), strict=True)
    return "M" + "L".join(f"{_n(ground.x(at))} {_n(ground.y(c))}" for at, c in points)


def _gaps(ground: Ground, warm: Track | None) -> Iterator[str]:
    if warm is None or not warm.paths:
        said = "no probe on the warm side" if warm is None else "no readings from the warm side"
        middle = (ground.left + ground.right) / 2, (ground.top + ground.bottom) / 2
        yield _word(*middle, said, "plot-word", "middle")
    for start, end in numbers.gaps(warm, ground.climate) if warm is not None else ():
        x0, x1 = ground.x(start), ground.x(end)
        yield _line("plot-gap", x0, ground.bottom, x1, ground.bottom)
        if warm is not None and warm.paths and x1 - x0 > estimated_width("no readings", _LETTERS):
            yield _word((x0 + x1) / 2, ground.bottom - 6, "no readings", "plot-word", "middle")


def _events(ground: Ground, words: Sequence[Word]) -> Iterator[str]:
    for event in ground.climate.events:
        if ground.climate.start_ms <= event.at_ms <= ground.climate.end_ms:
            name = "plot-outcome" if event.ends_it else "plot-event"
            x = ground.x(event.at_ms)
            yield _line(name, x, ground.top, x, ground.bottom)
    for word in words:
        x, y = ground.left + word.at, ground.top - 6 - word.row * _ROW
        yield _line("plot-event", x, y - 10, x, ground.top)
        yield _word(ground.left + word.left + 4, y, word.text, "plot-word")


def _ends(ground: Ground, tracks: dict[str, Track], warm: Track | None) -> Iterator[str]:
    """The names at the right ends of the lines, moved apart where they would overlap."""
    climate, settings = ground.climate, ground.settings
    ends = [
        (name, one.last_c, "plot-end-warm" if name == "warm side" else "plot-end")
        for name, one in tracks.items()
        if one.last_c is not None
    ]
    ends.append((f"floor {temperature(climate.floor_c, settings)}", climate.floor_c, "plot-cold"))
    ends.append(("too hot", climate.hot_c, "plot-warned"))
    ends += [
        (temperature(level, settings), level, "plot-cold")
        for level in numbers.limits_reached(warm, climate)
    ]
    at = [ground.y(value) for _, value, _ in ends]
    places = spread(at, _LETTERS * 1.15, ground.top, ground.bottom)
    for (text, _, name), y0, y1 in zip(ends, at, places, strict=True):
        yield _line("plot-lead", ground.right, y0, ground.right + 8, y1)
        yield _word(ground.right + 11, y1 + 4, text, name)
