"""The verdict: every limit at its edge, what gaps may hide, and that it never claims too much."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.exposure import Line, mean_of
from analysis.verdict import WORST_LAST, Verdict, held_against, verdict_of
from analysis.window import Window
from tests.analysis.lines import HOUR, MINUTE, T0, lines
from tests.analysis.meals import CARE, NAN, WEEK, steps


def verdicts(line: Line, window: Window = WEEK) -> tuple[Verdict, Verdict]:
    return verdict_of(held_against(line.cut(window.start_ms, window.end_ms), window, CARE))


@pytest.mark.parametrize(
    ("parts", "verdict"),
    [
        ([(168, 31.0)], "warm enough"),
        ([(40, 31.0), (5, 27.0), (123, 31.0)], "warm enough"),
        ([(40, 31.0), (7, 27.0), (121, 31.0)], "cool"),
        # Two spells of 5 h are 10 h in all, but no 6 h at a stretch.
        ([(40, 31.0), (5, 27.0), (2, 31.0), (5, 27.0), (116, 31.0)], "warm enough"),
        # 12 h below 25 °C in the first 72 h, in two parts.
        ([(10, 31.0), (5.5, 24.0), (9, 31.0), (5.5, 24.0), (138, 31.0)], "warm enough"),
        ([(10, 31.0), (6.1, 24.0), (9, 31.0), (6.1, 24.0), (136.8, 31.0)], "too cool"),
        # The same after the first 72 h: only the 6 h at a stretch count.
        ([(80, 31.0), (6.5, 24.0), (9, 31.0), (6.5, 24.0), (66, 31.0)], "cool"),
        # 6 h below 22 °C in the first 72 h; the part behind 72 h does not count.
        ([(10, 31.0), (3.2, 21.0), (9, 31.0), (3.2, 21.0), (142.6, 31.0)], "too cool"),
        ([(69, 31.0), (5, 21.0), (94, 31.0)], "warm enough"),
        ([(69, 31.0), (7, 21.0), (92, 31.0)], "cool"),
        ([(100, 31.0), (1.2, 37.0), (66.8, 31.0)], "too hot"),
        ([(100, 31.0), (0.8, 37.0), (67.2, 31.0)], "warm enough"),
        # The worst wins.
        ([(10, 24.0), (60, 31.0), (14, 24.0), (2, 37.0), (82, 31.0)], "too hot"),
    ],
)
def test_limits(parts: list[tuple[float, float]], verdict: str) -> None:
    assert verdicts(steps(*parts)) == (verdict, verdict)


def test_a_limit_is_met_when_it_is_just_reached() -> None:
    """Exactly 6 h below 28 °C at a stretch; a minute less is not."""
    at_limit = Line(*(part.copy() for part in steps((168, 31.0)).parts))
    six_hours = (at_limit.start_ms >= T0 + 10 * HOUR) & (at_limit.end_ms <= T0 + 16 * HOUR)
    at_limit.start_c[six_hours] = at_limit.end_c[six_hours] = 27.0
    assert verdicts(at_limit)[0] == "cool"
    short = Line(*(part.copy() for part in at_limit.parts))
    short.start_c[short.start_ms == T0 + 15 * HOUR] = 28.0
    assert verdicts(short)[0] == "warm enough"


@pytest.mark.parametrize(
    ("parts", "verdict", "possible"),
    [
        ([(40, 31.0), (5.5, NAN), (122.5, 31.0)], "warm enough", "warm enough"),
        ([(80, 31.0), (6.5, NAN), (81.5, 31.0)], "not enough readings", "cool"),
        # A gap next to a known spell: 4 h known and 3 h not are 7 h at a stretch.
        ([(80, 31.0), (4, 27.0), (3, NAN), (81, 31.0)], "not enough readings", "cool"),
        # Two gaps of 3 h each, apart: 6 h below 22 °C in all are possible, which is worse.
        (
            [(9, 31.0), (3.1, NAN), (9, 31.0), (3.1, NAN), (143.8, 31.0)],
            "not enough readings",
            "too cool",
        ),
        # Known to be cool, perhaps too cool.
        ([(10, 27.0), (10, 31.0), (6.1, NAN), (141.9, 31.0)], "cool", "too cool"),
        ([(10, 31.0), (7, 21.0), (10, NAN), (141, 31.0)], "too cool", "too cool"),
        # What could have been too hot in a gap is not held against it.
        ([(80, 31.0), (3, NAN), (85, 31.0)], "warm enough", "warm enough"),
        ([(10, 37.0), (10, NAN), (148, 31.0)], "too hot", "too hot"),
    ],
)
def test_gaps(parts: list[tuple[float, float]], verdict: str, possible: str) -> None:
    assert verdicts(steps(*parts)) == (verdict, possible)


def test_unknown_time_at_the_ends_of_the_window_counts_as_a_gap() -> None:
    line = steps((168, 31.0))
    assert verdicts(line.cut(T0 + 7 * HOUR, T0 + 168 * HOUR)) == ("not enough readings", "too cool")
    assert verdicts(line.cut(T0, T0 + 161 * HOUR)) == ("not enough readings", "cool")
    assert verdicts(line.cut(T0, T0)) == ("not enough readings", "too cool")


def test_a_short_window_only_has_gaps_within_itself() -> None:
    """Five hours after the meal nothing is lost yet, whatever was not seen."""
    young = Window(T0, T0 + 5 * HOUR, "now")
    assert verdicts(steps((168, 31.0)).cut(T0, T0 + HOUR), young) == ("warm enough", "warm enough")


@given(
    lines(),
    st.lists(st.tuples(st.integers(0, 60 * 30), st.integers(1, 60 * 12)), max_size=3),
    st.integers(1, 100),
)
def test_with_less_known_it_never_claims_more_and_what_held_stays_possible(
    line: Line, holes: list[tuple[int, int]], hours: int
) -> None:
    window = Window(T0, T0 + hours * HOUR, "now")
    fewer = line
    for minute, length in holes:
        since = T0 + minute * MINUTE
        fewer = mean_of([fewer.cut(T0, since), fewer.cut(since + length * MINUTE, T0 + 10**10)])
    before, before_possible = verdicts(line, window)
    after, after_possible = verdicts(fewer, window)
    rank = WORST_LAST.index
    if after in WORST_LAST and before in WORST_LAST:
        assert rank(after) <= rank(before)
    if before == "not enough readings":
        assert after == "not enough readings"
    if after == "warm enough" and before != "too hot":
        assert before == "warm enough"
    # Heat has no gap form: what was too hot may go unseen.
    if "too hot" not in (before, before_possible):
        assert rank(after_possible) >= rank(before_possible)


@given(lines(), st.integers(1, 200))
def test_possible_is_never_better_than_the_verdict(line: Line, hours: int) -> None:
    verdict, possible = verdicts(line, Window(T0, T0 + hours * HOUR, "now"))
    assert possible in WORST_LAST
    if verdict == "not enough readings":
        assert possible != "warm enough"
    else:
        assert WORST_LAST.index(possible) >= WORST_LAST.index(verdict)
