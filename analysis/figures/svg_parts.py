"""Parts that the drawings of the page share, as SVG text. Styled by the page's style sheets."""

from __future__ import annotations

from xml.sax.saxutils import escape

from analysis.words import plain

LETTERS = 12.0
"""Height of letters in px."""


def line(name: str, x0: float, y0: float, x1: float, y1: float) -> str:
    """A straight line of a class."""
    ends = f'x1="{number(x0)}" y1="{number(y0)}" x2="{number(x1)}" y2="{number(y1)}"'
    return f'<line class="{name}" {ends}/>'


def word(x: float, y: float, said: str, name: str, anchor: str = "start") -> str:
    """Words of a class, standing at (x, y)."""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return (
        f'<text class="{name}" x="{number(x)}" y="{number(y)}" '
        f'font-size="{number(LETTERS)}"{where}>{text(said)}</text>'
    )


def text(said: str) -> str:
    """A keeper's words, as they may stand in the drawing."""
    return escape(plain(said))


def number(value: float) -> str:
    """A length in px to a tenth."""
    return f"{value:.1f}".rstrip("0").rstrip(".")
