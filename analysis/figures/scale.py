"""The colours of every picture, and how deep the ribbon's edge goes.

Blue and red-brown are the two ends of the diverging scale "vik" (F. Crameri, Scientific colour
maps; Crameri, Shephard & Heron 2020, Nature Communications 11:5444), which stays apart for
colour-blind eyes and darkens evenly to both sides. Colour never carries a meaning alone: the edge
of the ribbon sinks or rises with it, and words say the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

DEGREES = 10
"""Steps of 1 °C to each side that are told apart; beyond it looks like the last."""

EDGE_PER_DEGREE = 0.085
"""How far the ribbon's edge moves with each °C, in heights of the quiet ribbon (our choice: after
10 °C a strip is left that cannot be taken for missing readings)."""

# Every 16th of vik's 256 colours, RGB 0..1, from the pale middle outwards (read from the published
# table, numbers 97, 81 ... 17 and 160, 176 ... 240). The middle itself is not used: it is near the
# paper's colour, and the good zone has a sand of its own.
_COLD = (
    (0.578557, 0.744089, 0.825435),
    (0.378862, 0.619189, 0.740325),
    (0.188606, 0.490191, 0.652599),
    (0.048008, 0.370086, 0.572345),
    (0.010755, 0.265853, 0.504938),
    (0.009080, 0.169142, 0.442587),
)
_HOT = (
    (0.863333, 0.673985, 0.564746),
    (0.813463, 0.557328, 0.409260),
    (0.765776, 0.446929, 0.263640),
    (0.703318, 0.326354, 0.121545),
    (0.578937, 0.182918, 0.024396),
    (0.456494, 0.084258, 0.024766),
)

SAND = "#e8dcc2"
"""The good zone: quiet, and lighter than the first step to either side."""
PAPER = "#fbf9f4"
NIGHT = "#f1ede3"
INK = "#2a2622"
SOFT_INK = "#655e55"
"""Second things; 6:1 against the paper, so that it is read without effort."""
PALE_INK = "#9d958a"
"""Lines of the third rank; never letters."""
HAIRLINE = "#cfc7b8"


def step_of(value_c: float, floor_c: float, hot_c: float) -> int:
    """The step of a temperature: 0 from the floor to the hot limit, both included.

    −1 for less than or exactly 1 °C below the floor, −2 for the next degree, and so on; +1, +2 …
    above the hot limit; at most DEGREES to each side.
    """
    if value_c < floor_c:
        return -min(DEGREES, math.ceil(floor_c - value_c))
    if value_c > hot_c:
        return min(DEGREES, math.ceil(value_c - hot_c))
    return 0


def colour_of(step: int) -> str:
    """The colour of a step as "#rrggbb": sand, deeper blue below it, deeper red-brown above."""
    if step == 0:
        return SAND
    anchors = _COLD if step < 0 else _HOT
    place = (min(abs(step), DEGREES) - 1) / (DEGREES - 1) * (len(anchors) - 1)
    low = min(int(place), len(anchors) - 2)
    share = place - low
    return _hex(_mixed(anchors[low], anchors[low + 1], share))


def tint_of(step: int) -> str:
    """The colour of a step thinned with paper, for areas on which lines have to be seen."""
    full, paper = (tuple(bytes.fromhex(c[1:])) for c in (colour_of(step), PAPER))
    return _hex([part / 255 for part in _mixed(full, paper, 0.5)])


def _mixed(a: Sequence[float], b: Sequence[float], share: float) -> list[float]:
    return [x + (y - x) * share for x, y in zip(a, b, strict=True)]


def _hex(rgb: Sequence[float]) -> str:
    return "#" + "".join(f"{round(part * 255):02x}" for part in rgb)


def edge_of(value_c: float, floor_c: float, hot_c: float) -> float:
    """Height of the ribbon's top edge: 1 in the good zone, less below the floor, more above."""
    beyond = min(value_c - floor_c, 0.0) + max(value_c - hot_c, 0.0)
    return 1.0 + EDGE_PER_DEGREE * max(-DEGREES, min(DEGREES, beyond))
