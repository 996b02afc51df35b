"""Readings nobody here made: a year of hourly air temperatures (vega_datasets, `sf-temps`, °F).

Half a week is taken out here and there, and single hours, so that there are gaps; then every figure
of a stretch of days against exact fractions of the same rows.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from vega_datasets import data

from analysis.exposure import line_of
from analysis.summary import summary
from analysis.verdict import held_against, verdict_of
from analysis.warmth import coverage, warm_side
from analysis.window import Window
from config.care import CareProfile, load_care_profile
from tests.analysis import brute, exact
from tests.analysis.exact import Pieces

HOUR = 3_600_000
GAP_H = Fraction(3, 2)


def rows() -> list[tuple[int, str]]:
    """(hours since 1970, °F as written); the file's own clock is taken for UTC."""
    with Path(data.sf_temps.filepath).open(newline="", encoding="utf-8") as file:
        return [
            (
                round(
                    datetime.strptime(row["date"], "%Y/%m/%d %H:%M:%S")
                    .replace(tzinfo=UTC)
                    .timestamp()
                    / 3600
                ),
                row["temp"],
            )
            for row in csv.DictReader(file)
        ]


ROWS = rows()
KEPT = [row for i, row in enumerate(ROWS) if i % 37 != 5 and i // 84 % 9 != 4]
CARE = load_care_profile("boa-constrictor")


def lowered(by_c: float) -> CareProfile:
    """The same limits for a colder place."""
    limits = tuple(one.model_copy(update={"level_c": one.level_c - by_c}) for one in CARE.limits)
    return CARE.model_copy(update={"limits": limits})


def exact_line(start_h: int, end_h: int) -> Pieces:
    readings = [(Fraction(at), brute.celsius(text, "degF")) for at, text in KEPT]
    return exact.cut(exact.joined(readings, GAP_H), Fraction(start_h), Fraction(end_h))


def test_the_rows_are_what_they_are_taken_for() -> None:
    assert len(ROWS) == 8759
    assert all(30 < float(text) < 90 for _, text in ROWS)
    assert {b[0] - a[0] for a, b in pairwise(ROWS)} <= {1, 2}


@pytest.mark.parametrize("first_day", [0, 3, 90, 200, 301])
@pytest.mark.parametrize("by_c", [14.0, 15.5])
def test_all_figures_of_eight_days(first_day: int, by_c: float) -> None:
    start_h = ROWS[0][0] + 24 * first_day
    end_h = start_h + 192
    window = Window(start_h * HOUR, end_h * HOUR, "complete")
    line = line_of(
        [at * HOUR for at, _ in KEPT],
        [(float(text) - 32) * 5 / 9 for _, text in KEPT],
        float(GAP_H) * HOUR,
    ).cut(window.start_ms, window.end_ms)
    pieces = exact_line(start_h, end_h)
    span = (Fraction(start_h), Fraction(end_h))
    care = lowered(by_c)

    mine = warm_side(line, window, care)
    for found in mine.below:
        level = Fraction(found.below_c)
        gaps = exact.gaps(pieces, *span)
        hours = exact.hours_below(pieces, level)
        assert (
            found.hours,
            found.hours_if_gaps_cold,
            found.degree_hours,
            found.longest_spell_hours,
            found.longest_spell_if_gaps_cold,
        ) == pytest.approx(
            (
                float(hours),
                float(hours + sum(b - a for a, b in gaps)),
                float(exact.degree_hours(pieces, level)),
                float(exact.longest(exact.spells_below(pieces, level))),
                float(exact.longest(exact.spells_below(pieces, level, gaps))),
            ),
            abs=1e-6,
        )
    of, theirs = summary(line), brute.figures(pieces, "c")
    assert (of.low, of.mean, of.median, of.high) == pytest.approx(tuple(theirs.values()), abs=1e-6)
    assert coverage(line, window).known_hours == pytest.approx(float(exact.known(pieces)), abs=1e-9)
    limits = tuple(
        (side, level - Fraction(by_c), most_h, of_spell, within, name)
        for side, level, most_h, of_spell, within, name in brute.LIMITS
    )
    assert verdict_of(held_against(line, window, care)) == brute.verdict(pieces, span, limits)
