"""The sheet a picture is drawn on: letters, lines of text, and the file at the end.

Lengths are points (1/72 inch), y downwards from the top edge. Nothing here depends on the
machine: the letters are the ones matplotlib brings with it, no display is opened, and the same
picture gives the same bytes.
"""

from __future__ import annotations

import re
import threading
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import FT2Font
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

from analysis.figures.files import write_whole
from analysis.figures.scale import INK, PAPER
from analysis.words import plain
from config.errors import Unusable

PNG_DPI = 200
SUFFIXES = (".png", ".svg", ".pdf")

_NO_GLYPH = "□"
_METADATA: Mapping[str, dict[str, str | None]] = MappingProxyType(
    {
        ".png": {"Software": None},
        ".svg": {"Date": None, "Creator": "Warmcoil"},
        ".pdf": {"CreationDate": None, "Creator": "Warmcoil", "Producer": None},
    }
)
_RC: Mapping[Any, Any] = MappingProxyType(
    {
        "svg.fonttype": "none",  # text stays text
        "svg.hashsalt": "warmcoil",
        "pdf.fonttype": 42,
        "text.parse_math": False,  # a name may hold a $
        "font.family": ["sans-serif"],
        "font.sans-serif": ["DejaVu Sans", "Verdana"],  # for who looks at an SVG: alike in width
        "path.simplify": False,  # what is drawn has been reduced already, and loses no dip here
    }
)
# A number and its unit, and a date, stay on one line.
_TOGETHER = re.compile(
    r"(?:\b[A-Z][a-z]{2} )?\d+ [A-Z][a-z]{2}\b(?: \d{4}\b)?|\d (?:h|min|g|oz|%|°[CF]|days?)(?!\w)"
)
# matplotlib's settings are the process's; two threads of a page must not draw at once.
_DRAWING = threading.RLock()


@contextmanager
def drawing() -> Iterator[None]:
    """Draw inside this: matplotlib with our settings only, one picture at a time."""
    with _DRAWING, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_RC)
        yield


@lru_cache(maxsize=64)
def letters(size: float, *, bold: bool = False) -> FontProperties:
    """The one typeface, DejaVu Sans as matplotlib brings it, at `size` points."""
    # The weight is in the file; SVG, where text stays text, is told it as well.
    weight = "bold" if bold else "normal"
    return FontProperties(
        family="sans-serif", fname=str(_font_file(bold)), size=size, weight=weight
    )


def _font_file(bold: bool) -> Path:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(mpl.get_data_path()) / "fonts" / "ttf" / name


@cache
def _signs(bold: bool) -> frozenset[int]:
    return frozenset(FT2Font(str(_font_file(bold))).get_charmap())


def drawable(text: str, *, bold: bool = False) -> str:
    """The text with a box for every sign that the typeface does not have."""
    have = _signs(bold)
    return "".join(sign if ord(sign) in have else _NO_GLYPH for sign in text)


@lru_cache(maxsize=4096)
def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a text is, in points."""
    shown = drawable(text, bold=bold)
    width, _, _ = text_to_path.get_text_width_height_descent(
        shown, letters(size, bold=bold), ismath=False
    )
    return float(width)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """The text in lines no wider than `width`; a word that is too long is broken."""
    lines: list[str] = []
    for word in _TOGETHER.sub(_glued, plain(text)).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.extend(_broken(word, width, size, bold))
    return lines


def _glued(found: re.Match[str]) -> str:
    return found[0].replace(" ", "\N{NO-BREAK SPACE}")


def _broken(word: str, width: float, size: float, bold: bool) -> list[str]:
    parts = [""]
    for sign in word:
        if parts[-1] and width_of(parts[-1] + sign, size, bold=bold) > width:
            parts.append("")
        parts[-1] += sign
    return parts


class Sheet:
    """A figure for one kind of file, with a ground in points from its top left corner."""

    def __init__(self, width: float, height: float, suffix: str, title: str = "") -> None:
        self.width = width
        self.height = height
        self.suffix = suffix
        self.title = plain(title)
        # What is printed has the paper's own colour.
        ground = "white" if suffix == ".pdf" else PAPER
        self.figure = Figure(figsize=(width / 72, height / 72), dpi=PNG_DPI, facecolor=ground)
        FigureCanvasAgg(self.figure)
        self.ground = self.axes(0, 0, width, height)
        self.ground.set_axis_off()
        self.ground.set_xlim(0, width)
        self.ground.set_ylim(height, 0)

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes at a place on the sheet."""
        place = (
            left / self.width,
            1 - (top + height) / self.height,
            width / self.width,
            height / self.height,
        )
        return self.figure.add_axes(place, facecolor="none")

    def write(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        axes: Axes | None = None,
        bold: bool = False,
        colour: str = INK,
        **more: Any,
    ) -> Text:
        """Write one line on axes, in their coordinates, or on the ground; y is its base line."""
        # In SVG text stays text: signs our letters do not have are drawn by the viewer's.
        shown = plain(text) if self.suffix == ".svg" else drawable(plain(text), bold=bold)
        on = axes if axes is not None else self.ground
        return on.text(x, y, shown, color=colour, fontproperties=letters(size, bold=bold), **more)

    def save(self, path: Path) -> None:
        """Write the picture whole, or leave what was there. Raises Unusable, one line."""
        write_whole(path, self.picture())

    def picture(self) -> bytes:
        """The picture as a file's bytes: the same for the same picture, on any day."""
        out = BytesIO()
        metadata = dict(_METADATA[self.suffix])
        if self.title:
            metadata["Title"] = self.title
        with warnings.catch_warnings():
            if self.suffix == ".svg":
                warnings.filterwarnings("ignore", message="Glyph .* missing from")
            self.figure.savefig(out, format=self.suffix[1:], metadata=metadata)
        return out.getvalue()


def known_suffix(path: Path) -> str:
    """The file's kind, or Unusable, one line, when it is not a picture we can write."""
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        named = f"the suffix {path.suffix!r}" if path.suffix else "no suffix"
        raise Unusable(f"{path}: a file with {named} cannot be drawn; name it .png, .svg or .pdf")
    return suffix
