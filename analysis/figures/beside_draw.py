"""Words beside a plot: what happened, above it; the lines' names, at their right ends."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.figures.axis_draw import Frame
from analysis.figures.climate import Climate
from analysis.figures.labels import Word, place_words, spread
from analysis.figures.paper import width_of
from analysis.figures.scale import HAIRLINE, INK


@dataclass(frozen=True, slots=True)
class EndWord:
    """A word at the right end of a line."""

    text: str
    value_c: float
    colour: str
    bold: bool = False


def event_words(climate: Climate, inner: float, room: float, letters: float) -> list[Word]:
    """The words of what happened within the plot, placed, in points from its left edge."""
    span = climate.end_ms - climate.start_ms
    marks = [
        Word((event.at_ms - climate.start_ms) / span * inner, event.word)
        for event in climate.events
        if climate.start_ms <= event.at_ms <= climate.end_ms
    ]
    return place_words(
        marks, room, 0.5 * letters, lambda text: width_of(text, letters) + 0.6 * letters
    )


def draw_events(frame: Frame, words: list[Word]) -> None:
    """A line from each word, above the plot, down through it."""
    row = 1.35 * frame.letters / frame.height
    for event in frame.climate.events:
        if frame.climate.start_ms <= event.at_ms <= frame.climate.end_ms:
            frame.axes.axvline(
                frame.scale.x(event.at_ms),
                color=INK,
                linewidth=1.4 if event.ends_it else 0.7,
                label="event",
            )
    for word in words:
        x, foot = word.at / frame.width, 1 + (word.row + 0.3) * row
        frame.stroke((x, 1), (x, foot + 0.6 * row), INK)
        frame.write((word.left + 0.3 * frame.letters) / frame.width, foot, word.text)


def draw_end_words(frame: Frame, ends: list[EndWord]) -> None:
    """The names at the right, moved apart where they would overlap."""
    low, high = frame.axes.get_ylim()
    step = frame.letters / frame.height
    share = [(frame.scale.y(end.value_c) - low) / (high - low) for end in ends]
    places = spread(share, 1.25 * step, 0.0, 1.0)
    tip, left = (1 + part * frame.letters / frame.width for part in (0.6, 0.8))
    for end, at, place in zip(ends, share, places, strict=True):
        frame.stroke((1, at), (tip, place), HAIRLINE)
        frame.write(left, place - 0.36 * step, end.text, bold=end.bold, colour=end.colour)
