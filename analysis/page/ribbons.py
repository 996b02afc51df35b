"""The ribbon on the page: drawn twice, for a wide and for a narrow screen, of which one is shown.

A drawing that shrinks would shrink its letters too, so the narrow one is a drawing of its own.
"""

from __future__ import annotations

import math

from markupsafe import Markup

from analysis.figures.meal_shape import meal_ribbon
from analysis.figures.ribbon import SCALE_DAYS
from analysis.figures.ribbon_layout import RibbonSize
from analysis.figures.ribbon_svg import ribbon_svg
from analysis.gathering import Gathered
from analysis.meal_words import meal_sentence
from analysis.review import Review
from config.care import CareProfile
from config.settings import Settings

WIDE = RibbonSize(width=860, strip=34, letters=14, small=12)
NARROW = RibbonSize(width=340, strip=30, letters=14, small=12)


def ribbon_of(
    review: Review, gathered: Gathered, care: CareProfile, settings: Settings, *, days: bool = True
) -> Markup:
    """A meal's ribbon, both drawings. Whatever stands in names and words is escaped in them."""
    sentence = meal_sentence(gathered.meal, settings)
    return two_widths(
        *(
            ribbon_svg(
                meal_ribbon(review, gathered, care, columns_per_day=2 * size.per_day),
                sentence,
                RibbonSize(
                    size.width, size.strip, size.letters, size.small, days,
                    scale_days(care),
                ),
            )
            for size in (WIDE, NARROW)
        )
    )  # fmt: skip


def scale_days(care: CareProfile) -> float:
    """Days from the left to the right of every ribbon: one scale for all that the page shows."""
    window = care.window
    longest_d = max(window.max_days.value, window.unknown_days.value, window.min_hours.value / 24)
    return float(max(SCALE_DAYS, math.ceil(longest_d)))


def two_widths(wide: str, narrow: str) -> Markup:
    """Two drawings of ours; the style sheet shows the one that fits."""
    return Markup(  # noqa: S704  # SVG of our own, with every text escaped
        f'<div class="for-wide">{wide}</div><div class="for-narrow">{narrow}</div>'
    )
