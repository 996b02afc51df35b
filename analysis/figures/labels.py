"""Where words go so that none lies on another: pure, in any unit of length."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

WidthOf = Callable[[str], float]
"""How wide a text is, in the unit of the picture."""


@dataclass(frozen=True, slots=True)
class Word:
    """A word at a place. Placed, it begins at `left` in row `row`; row 0 is nearest the ribbon."""

    at: float
    text: str
    left: float = 0.0
    row: int = 0


def estimated_width(text: str, size: float) -> float:
    """A width for text whose font is not known, on the wide side."""
    return size * sum(_sign_width(sign) for sign in text)


def _sign_width(sign: str) -> float:
    if unicodedata.combining(sign):
        return 0.0
    if unicodedata.east_asian_width(sign) in ("W", "F"):
        return 1.05
    return 0.85 if sign in "mwMW@%" else 0.34 if sign in "iljtfr.,;:'| !()" else 0.64


def place_words(words: Sequence[Word], room: float, gap: float, width_of: WidthOf) -> list[Word]:
    """Give every word a row and a left end within [0, room], none overlapping in its row.

    A word begins at its mark, or ends there where it would not fit to the right. The same word
    again, too near to be told apart, is counted: "handled ×3". A word wider than `room` begins
    at 0. A mark's line goes up to its word without crossing another where that can be had.
    """
    counted = _counted(words, room, gap, width_of)
    to_right = [word for word in counted if word.left >= word.at]
    to_left = [word for word in counted if word.left < word.at]
    placed: list[Word] = []
    # So the line of a word in a higher row stands clear of the words below it.
    for word in (
        *sorted(to_right, key=lambda w: (-w.at, w.text)),
        *sorted(to_left, key=lambda w: (w.at, w.text)),
    ):
        placed.append(replace(word, row=_free_row(word, placed, gap, width_of)))
    return sorted(placed, key=lambda w: (w.row, w.left))


def _free_row(word: Word, placed: Sequence[Word], gap: float, width_of: WidthOf) -> int:
    right = word.left + width_of(word.text)

    def is_free(row: int) -> bool:
        for other in placed:
            other_right = other.left + width_of(other.text)
            if other.row == row and word.left < other_right + gap and other.left < right + gap:
                return False
            if other.row < row and other.left < word.at < other_right:
                return False
            if other.row > row and word.left < other.at < right:
                return False
        return True

    top = max((other.row + 1 for other in placed), default=0)
    return next((row for row in range(top) if is_free(row)), top)


def _counted(words: Sequence[Word], room: float, gap: float, width_of: WidthOf) -> list[Word]:
    groups: dict[str, list[tuple[Word, int]]] = {}
    for word in sorted(words, key=lambda w: w.at):
        same = groups.setdefault(word.text, [])
        if same:
            first, count = same[-1]
            if word.at < first.at + width_of(_times(word.text, count + 1)) + gap:
                same[-1] = (first, count + 1)
                continue
        same.append((word, 1))
    return [
        _beside(replace(word, text=_times(word.text, count)), room, width_of)
        for same in groups.values()
        for word, count in same
    ]


def _times(text: str, count: int) -> str:
    return text if count == 1 else f"{text} ×{count}"


def _beside(word: Word, room: float, width_of: WidthOf) -> Word:
    width = width_of(word.text)
    left = word.at if word.at + width <= room else word.at - width
    return replace(word, left=max(0.0, min(left, room - width)))


def spread(places: Sequence[float], distance: float, low: float, high: float) -> list[float]:
    """Move places apart to at least `distance`, within [low, high], each as little as it can.

    Their order is kept. Where they cannot all fit, they are spaced evenly over the range.
    """
    if not places:
        return []
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    distance = min(distance, (high - low) / max(1, len(places) - 1))
    # Groups that touch move together to the mean of what their members want.
    groups: list[list[int]] = []
    for i in order:
        groups.append([i])
        while len(groups) > 1 and _start(groups[-1], places, distance, low, high) < (
            _start(groups[-2], places, distance, low, high) + len(groups[-2]) * distance
        ):
            groups[-2:] = [groups[-2] + groups[-1]]
    moved = [0.0] * len(places)
    for group in groups:
        start = _start(group, places, distance, low, high)
        for rank, i in enumerate(group):
            moved[i] = start + rank * distance
    return moved


def _start(
    group: Sequence[int], places: Sequence[float], distance: float, low: float, high: float
) -> float:
    wanted = sum(places[i] - rank * distance for rank, i in enumerate(group)) / len(group)
    return max(low, min(wanted, high - (len(group) - 1) * distance))
