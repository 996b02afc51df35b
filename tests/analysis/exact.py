"""The same figures a second time, in exact fractions and plain loops: slow, and sharing no code.

A line is a list of pieces (start, end, value at start, value at end) in time order, all `Fraction`;
times in hours. Nothing in here imports the project.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from itertools import pairwise

Piece = tuple[Fraction, Fraction, Fraction, Fraction]
Pieces = list[Piece]
Span = tuple[Fraction, Fraction]


def value(piece: Piece, at: Fraction) -> Fraction:
    """The value on a piece."""
    start, end, a, b = piece
    return a + (b - a) * (at - start) / (end - start)


def cut(pieces: Pieces, since: Fraction, until: Fraction) -> Pieces:
    """The part within [since, until]."""
    kept = []
    for piece in pieces:
        start, end = max(piece[0], since), min(piece[1], until)
        if start < end:
            kept.append((start, end, value(piece, start), value(piece, end)))
    return kept


def parts_below(piece: Piece, level: Fraction) -> list[Piece]:
    """The part of a piece where it is less than the level: none or one."""
    start, end, a, b = piece
    if a >= level and b >= level:
        return []
    if a < level and b < level:
        return [piece]
    crossing = start + (end - start) * (level - a) / (b - a)
    return [(start, crossing, a, level) if a < level else (crossing, end, level, b)]


def hours_below(pieces: Pieces, level: Fraction) -> Fraction:
    """Time below the level."""
    return sum((e - s for p in pieces for s, e, *_ in parts_below(p, level)), Fraction(0))


def degree_hours(pieces: Pieces, level: Fraction) -> Fraction:
    """Area between the level and the line where it is below: trapezia."""
    return sum(
        (
            (e - s) * ((level - a) + (level - b)) / 2
            for p in pieces
            for s, e, a, b in parts_below(p, level)
        ),
        Fraction(0),
    )


def spells_below(pieces: Pieces, level: Fraction, gaps: list[Span] | None = None) -> list[Span]:
    """Unbroken stretches below the level. `gaps`, where given, count as below throughout."""
    stretches = [
        (s, e, a < level, b < level) for p in pieces for s, e, a, b in parts_below(p, level)
    ]
    stretches += [(s, e, True, True) for s, e in gaps or []]
    stretches.sort()
    spells: list[tuple[Fraction, Fraction, bool]] = []
    for start, end, begins_below, ends_below in stretches:
        if spells and spells[-1][1] == start and spells[-1][2] and begins_below:
            spells[-1] = (spells[-1][0], end, ends_below)
        else:
            spells.append((start, end, ends_below))
    return [(start, end) for start, end, _ in spells]


def longest(spells: list[Span]) -> Fraction:
    """Length of the longest spell."""
    return max((end - start for start, end in spells), default=Fraction(0))


def gaps(pieces: Pieces, since: Fraction, until: Fraction) -> list[Span]:
    """The stretches of [since, until] without a piece."""
    edges = [since, *(edge for piece in pieces for edge in piece[:2]), until]
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a]


def known(pieces: Pieces) -> Fraction:
    """Known time."""
    return sum((end - start for start, end, *_ in pieces), Fraction(0))


def mean(pieces: Pieces) -> Fraction:
    """Mean over known time."""
    return sum((e - s) * (a + b) / 2 for s, e, a, b in pieces) / known(pieces)


def median_span(pieces: Pieces) -> Span:
    """The least and the greatest value with half of the known time on either side.

    The time up to a value is linear between neighbouring corners, so it is followed corner by
    corner.
    """
    half = known(pieces) / 2
    corners = sorted({v for piece in pieces for v in piece[2:]})
    least = _first_with(pieces, corners, half)
    flipped = [(s, e, -a, -b) for s, e, a, b in pieces]
    return least, -_first_with(flipped, sorted(-v for v in corners), half)


def _first_with(pieces: Pieces, corners: list[Fraction], wanted: Fraction) -> Fraction:
    if _time_up_to(pieces, corners[0]) >= wanted:
        return corners[0]
    for a, b in pairwise(corners):
        if _time_up_to(pieces, b) >= wanted:
            before, until = _time_up_to(pieces, a), hours_below(pieces, b)
            return b if until < wanted else a + (b - a) * (wanted - before) / (until - before)
    raise AssertionError("half of the time lies up to the highest value at the latest")


def _time_up_to(pieces: Pieces, level: Fraction) -> Fraction:
    at = sum((e - s for s, e, a, b in pieces if a == b == level), Fraction(0))
    return hours_below(pieces, level) + at


def mean_line(lines: list[Pieces]) -> Pieces:
    """At every moment the mean of the lines known then."""
    corners = sorted({edge for line in lines for piece in line for edge in piece[:2]})
    starts = [[piece[0] for piece in line] for line in lines]
    found = []
    for start, end in pairwise(corners):
        places = [bisect_right(begin, start) - 1 for begin in starts]
        there = [
            line[i] for line, i in zip(lines, places, strict=True) if i >= 0 and line[i][1] >= end
        ]
        if there:
            a = sum((value(p, start) for p in there), Fraction(0)) / len(there)
            b = sum((value(p, end) for p in there), Fraction(0)) / len(there)
            found.append((start, end, a, b))
    return found


def joined(readings: list[tuple[Fraction, Fraction]], gap: Fraction) -> Pieces:
    """Readings (time, value), in any order, as a line: neighbours no more than `gap` apart."""
    return [(s, e, a, b) for (s, a), (e, b) in pairwise(sorted(readings)) if e - s <= gap]
