"""The post-meal plot: the ribbon, the temperatures, and the verdict in words beneath them."""

from __future__ import annotations

from pathlib import Path

from analysis import verdict_words
from analysis.figures.meal_shape import circumstances, meal_climate, meal_ribbon
from analysis.figures.page import WIDE, Form, Picture, draw_picture
from analysis.figures.paper import Sheet, drawing, known_suffix
from analysis.gathering import Gathered
from analysis.meal_words import meal_sentence
from analysis.review import Review
from config.care import CareProfile
from config.settings import Settings


def plot_meal(  # noqa: PLR0917  # like gather: the parts in the order they come
    review: Review,
    gathered: Gathered,
    path: Path,
    settings: Settings,
    care: CareProfile,
    form: Form = WIDE,
) -> None:
    """Draw one meal to a .png, .svg or .pdf file. Raises Unusable, one line, for what cannot be."""
    suffix = known_suffix(path)
    with drawing():
        meal_sheet(review, gathered, suffix, settings, care, form).save(path)


def meal_sheet(  # noqa: PLR0917  # as above
    review: Review,
    gathered: Gathered,
    suffix: str,
    settings: Settings,
    care: CareProfile,
    form: Form = WIDE,
) -> Sheet:
    """The sheet of one meal. To be called inside `drawing`."""
    picture = Picture(
        title=meal_sentence(gathered.meal, settings),
        under_title=circumstances(gathered, settings),
        ribbon=meal_ribbon(review, gathered, care),
        climate=meal_climate(gathered, care),
        heading=verdict_words.verdict_sentence(review),
        body=[
            *verdict_words.reason_sentences(review),
            verdict_words.known_sentence(review, settings),
            verdict_words.digestion_sentence(review, settings),
        ],
        small_print=verdict_words.CANNOT_TELL,
    )
    return draw_picture(picture, suffix, settings, form)
