"""The ribbon on a sheet, by matplotlib, from the same layout as the page's SVG."""

from __future__ import annotations

from matplotlib.collections import LineCollection, PolyCollection

from analysis.figures.paper import Sheet, width_of
from analysis.figures.ribbon import RibbonShape
from analysis.figures.ribbon_layout import RibbonLayout, RibbonSize, Text, ribbon_layout
from analysis.figures.scale import HAIRLINE, INK, SOFT_INK, colour_of

_STROKES = {
    "missing": (SOFT_INK, 1.3),
    "ahead": (SOFT_INK, 0.7),
    "tick": (HAIRLINE, 0.7),
    "event": (INK, 0.7),
    "outcome": (INK, 1.6),
}
_ALIGNMENT = {"start": "left", "middle": "center", "end": "right"}
DOTTED = (0.0, (0.1, 2.6))
"""Dots of a round pen: readings are missing here."""


def laid_out(shape: RibbonShape, size: RibbonSize) -> RibbonLayout:
    """The ribbon's layout with a sheet's letters: its height is needed before it is drawn."""
    return ribbon_layout(shape, size, lambda text: width_of(text, size.letters, bold=True))


def draw_ribbon(sheet: Sheet, layout: RibbonLayout, size: RibbonSize, x: float, y: float) -> None:
    """Draw it with its top left corner at (x, y)."""
    _draw_areas(sheet, layout, x, y)
    for kind, (colour, width) in _STROKES.items():
        lines = [
            [(x + s.x0, y + s.y0), (x + s.x1, y + s.y1)] for s in layout.strokes if s.kind == kind
        ]
        strokes = LineCollection(lines, colors=colour, linewidths=width, label=f"ribbon {kind}")
        if kind == "missing":
            strokes.set_linestyle(DOTTED)
            strokes.set_capstyle("round")
        sheet.ground.add_collection(strokes, autolim=False)
    for text in layout.texts:
        _draw_text(sheet, text, size, x, y)


def _draw_areas(sheet: Sheet, layout: RibbonLayout, x: float, y: float) -> None:
    colours = [colour_of(area.step) for area in layout.areas]
    corners = [[(x + a, y + b) for a, b in area.points] for area in layout.areas]
    # The edge in its own colour closes the hairline between neighbours, and keeps a dip of a
    # minute visible.
    areas = PolyCollection(
        corners, facecolors=colours, edgecolors=colours, linewidths=0.4, label="ribbon"
    )
    sheet.ground.add_collection(areas, autolim=False)


def _draw_text(sheet: Sheet, text: Text, size: RibbonSize, x: float, y: float) -> None:
    ending = text.kind == "ending"
    sheet.write(
        x + text.x,
        y + text.y,
        text.text,
        size.small if text.kind == "day" else size.letters,
        bold=ending,
        colour=INK if ending else SOFT_INK,
        horizontalalignment=_ALIGNMENT[text.anchor],
    )
