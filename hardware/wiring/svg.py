"""Shapes and words as SVG, in one hand: every drawing has the same lines, colours and letters."""

from __future__ import annotations

from xml.sax.saxutils import escape

INK, PAPER, FAINT = "#1d2329", "#ffffff", "#8a949e"
WIRES = {"3.3 V": "#b3261e", "data": "#8a5a00", "ground": INK, "clock": "#1f5fa8"}
"""Each wire has a colour and, always, its name beside it."""
_STYLE = "font-family:system-ui,sans-serif"
_LETTER_PX = 0.56
"""Width of a letter over its height, on average: enough to see that words stay on the paper."""


class Drawing:
    """One drawing of `width` × `height` px. `says` describes it for those who cannot see it."""

    def __init__(self, width: int, height: int, title: str, says: str) -> None:
        self.width, self.height = width, height
        self._parts = [
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
                f'role="img" aria-labelledby="t d" style="{_STYLE}">'
            ),
            f'<title id="t">{escape(title)}</title>',
            f'<desc id="d">{escape(says)}</desc>',
            f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        ]
        self.words(20, 34, title, size=20, bold=True)

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: str = PAPER,
        dash: bool = False,
    ) -> None:
        """A rectangle."""
        dashes = ' stroke-dasharray="6 4"' if dash else ""
        self._parts.append(
            f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="6" '
            f'fill="{fill}" stroke="{INK}" stroke-width="2"{dashes}/>'
        )

    def line(self, *points: tuple[float, float], colour: str = INK, width: float = 3) -> None:
        """A line through points."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        self._parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}" '
            'stroke-linejoin="round" stroke-linecap="round"/>'
        )

    def curve(self, path: str, *, colour: str = INK, width: float = 3) -> None:
        """A path of SVG's own words."""
        self._parts.append(
            f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}" '
            'stroke-linecap="round"/>'
        )

    def dot(self, x: float, y: float, colour: str = INK, radius: float = 5) -> None:
        """A joint, or a probe's tip."""
        self._parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{colour}"/>')

    def resistor(self, x: float, y: float, length: float, name: str, name_y: float) -> None:
        """A resistor standing on (x, y), upwards, with its value beside it at `name_y`."""
        third = length / 4
        self.line((x, y), (x, y - third))
        self.box(x - 9, y - length + third, 18, length - 2 * third)
        self.line((x, y - length + third), (x, y - length))
        self.words(x + 16, name_y, name, size=15)

    def words(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: int = 15,
        bold: bool = False,
        anchor: str = "start",
        colour: str = INK,
    ) -> None:
        """Words. Raises ValueError where they would leave the paper."""
        width = len(text) * size * _LETTER_PX
        left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
        if left < 0 or left + width > self.width or not size < y < self.height:
            raise ValueError(f"{text!r} leaves the paper")
        weight = ' font-weight="600"' if bold else ""
        self._parts.append(
            f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}" '
            f'fill="{colour}"{weight}>{escape(text)}</text>'
        )

    def text(self) -> str:
        """The whole file."""
        return "\n".join([*self._parts, "</svg>", ""])
