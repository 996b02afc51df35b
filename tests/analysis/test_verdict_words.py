"""A review in sentences: never more than the readings show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from analysis.review import Review
from analysis.verdict import Verdict
from analysis.verdict_words import (
    CANNOT_TELL,
    digestion_sentence,
    known_sentence,
    reason_sentences,
    verdict_sentence,
)
from tests.analysis.figures.scenes import SETTINGS, Drawn

SceneOf = Callable[[str], Drawn]


def with_verdict(one: Review, verdict: Verdict, possible: Verdict) -> Review:
    return replace(one, verdict=verdict, possible=possible)


@pytest.mark.parametrize(
    ("verdict", "possible", "said"),
    [
        ("warm enough", "warm enough", "The warm side was warm enough."),
        ("too cool", "too cool", "The warm side was too cool."),
        ("cool", "too cool", "The warm side was cool; the gaps could hide that it was too cool."),
        ("too hot", "too hot", "The warm side was too hot."),
        ("not enough readings", "cool",
         "There are not enough readings to say; the gaps could hide that it was cool."),
        ("no warm-side probe", "no warm-side probe",
         "There was no warm-side probe: nothing to judge by."),
    ],
)  # fmt: skip
def test_verdicts(scene_of: SceneOf, verdict: Verdict, possible: Verdict, said: str) -> None:
    assert verdict_sentence(with_verdict(scene_of("good-meal").review, verdict, possible)) == said


def test_while_it_lasts_it_is_so_far(scene_of: SceneOf) -> None:
    assert verdict_sentence(scene_of("ongoing").review) == (
        "So far the warm side has been warm enough."
    )


def test_reasons_are_the_reviews_own(scene_of: SceneOf) -> None:
    one = scene_of("heater-failure").review
    for sentence, reason in zip(reason_sentences(one), one.reasons, strict=True):
        assert sentence[1:] == f"{reason[1:].rstrip('.')}."
        assert sentence[0] == reason[0].upper()


def test_what_is_known(scene_of: SceneOf) -> None:
    assert known_sentence(scene_of("good-meal").review, SETTINGS) == (
        "The warm side is known for all 194 h: 30.3 to 32.1 °C, mean 31.2 °C. "
        "Cool side 24.3 to 26.9 °C."
    )
    assert known_sentence(scene_of("heater-failure").review, SETTINGS).startswith(
        "The warm side is known for 186 h of 194 h, longest gap 7 h: "
    )
    assert known_sentence(scene_of("unknown").review, SETTINGS) == (
        "There was no probe on the cool side."
    )
    silent = scene_of("good-meal").review
    assert silent.warm_side is not None
    assert silent.cool_side is not None
    silent = replace(
        silent,
        warm_side=replace(silent.warm_side, min_c=None, mean_c=None, median_c=None, max_c=None),
        cool_side=replace(silent.cool_side, min_c=None, mean_c=None, median_c=None, max_c=None),
    )
    assert known_sentence(silent, SETTINGS) == (
        "No reading of the warm side in 194 h. The cool side was not heard."
    )


def test_digestion_lies_between_always_warm_and_always_cool(scene_of: SceneOf) -> None:
    assert digestion_sentence(scene_of("good-meal").review, SETTINGS) == (
        "Digestion, by the model: about 8 days at a steady 30.0 °C; it was through by Wed 11 Mar "
        "(day 8) if the animal always lay on the warm side, 65 % done if always on the cool side. "
        "An estimate, good to a quarter at best."
    )
    assert "so far 42 % done if the animal always lay on the warm side, not known if" in (
        digestion_sentence(scene_of("ongoing").review, SETTINGS)
    )
    assert digestion_sentence(scene_of("unknown").review, SETTINGS) == (
        "How long digestion takes is not known: prey or body mass is not known."
    )


def test_a_share_is_never_rounded_up_to_through(scene_of: SceneOf) -> None:
    one = scene_of("came-back").review
    nearly = replace(one, digestion=replace(one.digestion, progress_warm_side=0.9999))
    assert "99 % done if" in digestion_sentence(nearly, SETTINGS)
    no_line = replace(
        one, digestion=replace(one.digestion, progress_warm_side=None, progress_cool_side=None)
    )
    assert digestion_sentence(no_line, SETTINGS).endswith("how far it came is not known.")


def test_what_it_cannot_tell() -> None:
    assert CANNOT_TELL == (
        "The warm side is the warmest the animal can have been: a warm reading proves nothing "
        "about where it lay."
    )
