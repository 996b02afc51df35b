"""The ribbon as SVG text, for the page: no script, no inline style, no id, so that many stand on
one page under a strict content policy. Classes let a style sheet give it other colours at night.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from analysis.figures.labels import estimated_width
from analysis.figures.ribbon import RibbonShape
from analysis.figures.ribbon_layout import RibbonSize, Stroke, Text, ribbon_layout
from analysis.figures.scale import HAIRLINE, INK, SOFT_INK, colour_of
from analysis.words import plain

_BOLD = 1.1
"""How much wider bold letters are, at most."""
_STROKES = {
    "missing": f'stroke="{SOFT_INK}" stroke-width="1.6" stroke-dasharray="0.1 4" '
    'stroke-linecap="round"',
    "ahead": f'stroke="{SOFT_INK}" stroke-width="1"',
    "tick": f'stroke="{HAIRLINE}" stroke-width="1"',
    "event": f'stroke="{INK}" stroke-width="1"',
    "outcome": f'stroke="{INK}" stroke-width="2"',
}


def ribbon_svg(shape: RibbonShape, sentence: str, size: RibbonSize | None = None) -> str:
    """One `<svg>` element. `sentence` says the meal in words, for who cannot see the picture."""
    size = size if size is not None else RibbonSize()
    layout = ribbon_layout(shape, size, lambda text: _BOLD * estimated_width(text, size.letters))
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="ribbon" role="img" '
            f'viewBox="0 0 {_n(layout.width)} {_n(layout.height)}" width="{_n(layout.width)}" '
            f'height="{_n(layout.height)}" font-family="system-ui, sans-serif">'
        ),
        f"<title>{_text(_said(sentence, shape))}</title>",
        *(_area(area.step, area.points) for area in layout.areas),
        *(_stroke(stroke) for stroke in layout.strokes),
        *(_words(text, size) for text in layout.texts),
        "</svg>",
    ]
    return "".join(parts)


def _said(sentence: str, shape: RibbonShape) -> str:
    return f"{sentence}: {shape.ending}" if shape.ending else sentence


def _area(step: int, points: tuple[tuple[float, float], ...]) -> str:
    side = (
        "good"
        if step == 0
        else f"below ribbon-below-{-step}"
        if step < 0
        else f"above ribbon-above-{step}"
    )
    colour = colour_of(step)
    # The stroke in its own colour closes the hairline between neighbours, and keeps a dip of a
    # minute visible.
    return (
        f'<polygon class="ribbon-{side}" fill="{colour}" stroke="{colour}" stroke-width="0.6" '
        f'stroke-linejoin="round" points="{" ".join(f"{_n(x)},{_n(y)}" for x, y in points)}"/>'
    )


def _stroke(stroke: Stroke) -> str:
    return (
        f'<line class="ribbon-{stroke.kind}" x1="{_n(stroke.x0)}" y1="{_n(stroke.y0)}" '
        f'x2="{_n(stroke.x1)}" y2="{_n(stroke.y1)}" {_STROKES[stroke.kind]}/>'
    )


def _words(text: Text, size: RibbonSize) -> str:
    anchor = "" if text.anchor == "start" else f' text-anchor="{text.anchor}"'
    weight, colour = (' font-weight="bold"', INK) if text.kind == "ending" else ("", SOFT_INK)
    letters = size.small if text.kind == "day" else size.letters
    return (
        f'<text class="ribbon-{text.kind}" x="{_n(text.x)}" y="{_n(text.y)}" '
        f'font-size="{_n(letters)}" fill="{colour}"{weight}{anchor}>{_text(text.text)}</text>'
    )


def _text(text: str) -> str:
    return escape(plain(text))


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
