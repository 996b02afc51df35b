"""Words find their places: none on another, none off the picture, none lost."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.figures.labels import Word, estimated_width, place_words, spread

ROOM, GAP = 300.0, 5.0

words = st.lists(
    st.builds(
        Word,
        st.floats(0, ROOM, allow_subnormal=False),
        st.sampled_from(["handled", "shed", "passed", "kept"]),
    ),
    max_size=12,
)


def width_of(text: str) -> float:
    return 6.0 * len(text)


def counted(text: str) -> int:
    return int(text.split(" ×")[1]) if "×" in text else 1


@given(words)
def test_no_word_lies_on_another_or_off_the_picture(given_words: list[Word]) -> None:
    placed = place_words(given_words, ROOM, GAP, width_of)
    for i, word in enumerate(placed):
        assert 0 <= word.left <= word.left + width_of(word.text) <= ROOM + 1e-9
        for other in placed[i + 1 :]:
            if word.row == other.row:
                a, b = sorted((word, other), key=lambda w: w.left)
                assert a.left + width_of(a.text) + GAP <= b.left + 1e-9


@given(words)
def test_no_word_is_lost(given_words: list[Word]) -> None:
    placed = place_words(given_words, ROOM, GAP, width_of)
    for kind in {word.text for word in given_words}:
        wanted = sum(word.text == kind for word in given_words)
        found = sum(counted(word.text) for word in placed if word.text.split(" ×")[0] == kind)
        assert found == wanted
    rows = {word.row for word in placed}
    assert rows == set(range(len(rows)))


def test_a_marks_line_goes_up_beside_the_other_words() -> None:
    placed = place_words(
        [Word(10, "handled"), Word(30, "shed"), Word(50, "kept")], 300, 5, width_of
    )
    rows = {word.text: word.row for word in placed}
    # "handled" would lie over the two others' marks, so it stands above them.
    assert rows["kept"] == 0
    assert rows["handled"] > rows["shed"] >= 0


def test_at_the_right_edge_a_word_ends_at_its_mark() -> None:
    (word,) = place_words([Word(290, "passed")], 300, 5, width_of)
    assert word.left + width_of("passed") == pytest.approx(290)


def test_the_same_word_again_is_counted_only_when_near() -> None:
    placed = place_words([Word(x, "handled") for x in (0, 10, 200)], 300, 5, width_of)
    assert [word.text for word in placed] == ["handled ×2", "handled"]


def test_a_word_wider_than_the_picture_begins_at_its_left() -> None:
    (word,) = place_words([Word(200, "x" * 99)], 300, 5, width_of)
    assert word.left == 0.0


@given(st.lists(st.floats(0, 100), max_size=8), st.floats(1, 12))
def test_spread_keeps_order_and_distance(places: list[float], distance: float) -> None:
    moved = spread(places, distance, 0.0, 100.0)
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    for a, b in itertools.pairwise(order):
        assert moved[b] - moved[a] >= distance - 1e-9
    assert all(-1e-9 <= place <= 100 + 1e-9 for place in moved)


def test_spread_moves_nothing_that_has_room() -> None:
    assert spread([50.0, 10.0, 90.0], 12.0, 0.0, 100.0) == [50.0, 10.0, 90.0]


def test_spread_moves_each_as_little_as_it_can() -> None:
    assert spread([50.0, 50.0], 10.0, 0.0, 100.0) == [45.0, 55.0]
    assert spread([0.0, 0.0], 10.0, 0.0, 100.0) == [0.0, 10.0]
    assert spread([99.0, 1.0, 98.0], 10.0, 0.0, 100.0) == [100.0, 1.0, 90.0]


def test_more_than_fit_are_spaced_evenly() -> None:
    assert spread([50.0] * 5, 40.0, 0.0, 100.0) == [0.0, 25.0, 50.0, 75.0, 100.0]


def test_a_width_for_an_unknown_font_is_on_the_wide_side() -> None:
    assert estimated_width("day 4 of about 8", 10) > 80  # 79.3 in DejaVu Sans, a wide typeface
    assert estimated_width("日本", 10) >= 20
    assert estimated_width("e\u0301", 10) == estimated_width("e", 10)
