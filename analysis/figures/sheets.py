"""A paper of several pages: words, tables and pictures flow down A4 sheets into one PDF.

The words are text that can be marked and searched; the document says its title and language. First
everything is laid out, then one page after the other is drawn and let go, so that a long paper
takes no more memory than a page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO

from matplotlib.backends.backend_pdf import Name, PdfPages

from analysis.figures.paper import Sheet, width_of, wrapped
from analysis.figures.scale import HAIRLINE, INK, SOFT_INK
from analysis.words import plain

A4 = (595.276, 841.89)
"""ISO 216, 210 × 297 mm, in points."""
MARGIN = 48.0
WIDTH = A4[0] - 2 * MARGIN
TITLE, HEADING, SMALL_HEADING, BODY, SMALL = 18.0, 12.5, 10.0, 9.2, 7.8
_LINE = 1.4
_BOTTOM = A4[1] - MARGIN - 14.0

Draw = Callable[[Sheet, float], None]
"""Draws on a sheet from a height downwards."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: what stands above it, and its share of the width."""

    head: str
    share: float
    right: bool = False


@dataclass(frozen=True, slots=True)
class About:
    """What the document says of itself. `made_ms` is the moment that it speaks of."""

    title: str
    subject: str
    creator: str
    made_ms: int
    language: str = "en"


class Sheets:
    """The paper being written, from the top of the first page on."""

    def __init__(self, foot: str) -> None:
        self._foot = foot
        self._pages: list[list[tuple[Draw, float]]] = [[]]
        self._top = MARGIN

    # ---- what is put on it ----------------------------------------------------------------------

    def title(self, text: str) -> None:
        """The title."""
        self._lines(text, TITLE, bold=True)

    def heading(self, text: str, *, room: float = 60.0) -> None:
        """A heading; it begins a new page where less than `room` would stand beneath it."""
        self.need(2.6 * HEADING + room)
        self.space(1.1 * HEADING)
        self._lines(text, HEADING, bold=True)
        self.space(0.2 * BODY)

    def small_heading(self, text: str, *, room: float = 30.0) -> None:
        """A heading within a part."""
        self.need(2.0 * SMALL_HEADING + room)
        self.space(0.6 * SMALL_HEADING)
        self._lines(text, SMALL_HEADING, bold=True)

    def words(self, text: str, *, bold: bool = False, soft: bool = False) -> None:
        """A paragraph."""
        self._lines(text, BODY, bold=bold, colour=SOFT_INK if soft else INK)
        self.space(0.3 * BODY)

    def points(self, texts: Sequence[str]) -> None:
        """A list, each with a dash before it."""
        for text in texts:
            for row, line in enumerate(wrapped(text, WIDTH - 12, BODY)):
                self._line(f"–  {line}" if row == 0 else line, BODY, left=0.0 if row == 0 else 12.0)
            self.space(0.25 * BODY)

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """A table. Its head stands again on every page; a cell is broken into lines."""
        lefts, widths = _places(columns)
        head = [wrapped(c.head, w, SMALL) for c, w in zip(columns, widths, strict=True)]
        cut = [
            [wrapped(cell, width, SMALL) for cell, width in zip(row, widths, strict=True)]
            for row in rows
        ]
        height = _height_of(head)
        self.need(height + (_height_of(cut[0]) if cut else 0.0))
        self.put(height, _row(head, columns, lefts, widths, colour=SOFT_INK))
        for cells in cut:
            if self._top + _height_of(cells) > _BOTTOM:
                self.new_page()
                self.put(height, _row(head, columns, lefts, widths, colour=SOFT_INK))
            self.put(_height_of(cells), _row(cells, columns, lefts, widths, rule=True))
        self.space(0.6 * BODY)

    def put(self, height: float, draw: Draw) -> None:
        """A picture so high; it is drawn when its page is."""
        self.need(height)
        self._pages[-1].append((draw, self._top))
        self._top += height

    def space(self, height: float) -> None:
        """Room, where anything stands above it."""
        if self._top > MARGIN:
            self._top += height

    def need(self, height: float) -> None:
        """Begin a new page unless so much room is left on this one."""
        if self._top > MARGIN and self._top + height > _BOTTOM:
            self.new_page()

    def new_page(self) -> None:
        """Begin a new page."""
        self._pages.append([])
        self._top = MARGIN

    def _lines(self, text: str, size: float, *, bold: bool = False, colour: str = INK) -> None:
        for line in wrapped(text, WIDTH, size, bold=bold):
            self._line(line, size, bold=bold, colour=colour)

    def _line(
        self, text: str, size: float, *, left: float = 0.0, bold: bool = False, colour: str = INK
    ) -> None:
        def draw(sheet: Sheet, top: float) -> None:
            sheet.write(MARGIN + left, top + size, text, size, bold=bold, colour=colour)

        self.put(_LINE * size, draw)

    # ---- the file -------------------------------------------------------------------------------

    def pdf(self, about: About) -> bytes:
        """The paper's bytes, the same for the same paper. To be called inside `drawing`."""
        out = BytesIO()
        made = datetime.fromtimestamp(about.made_ms // 1000, UTC)
        metadata = {
            "Title": plain(about.title), "Subject": plain(about.subject),
            "Creator": about.creator, "Producer": None, "CreationDate": made,
        }  # fmt: skip
        with PdfPages(out, metadata=metadata) as file:
            for number, page in enumerate(self._pages, start=1):
                sheet = Sheet(*A4, ".pdf")
                for draw, top in page:
                    draw(sheet, top)
                self._write_foot(sheet, number)
                file.savefig(sheet.figure)
            _say_language(file, about.language)
        return out.getvalue()

    def _write_foot(self, sheet: Sheet, number: int) -> None:
        y = A4[1] - MARGIN + 8
        count = f"page {number} of {len(self._pages)}"
        room = WIDTH - width_of(count, SMALL) - 12
        sheet.write(MARGIN, y, wrapped(self._foot, room, SMALL)[0], SMALL, colour=SOFT_INK)
        sheet.write(
            MARGIN + WIDTH, y, count, SMALL, colour=SOFT_INK, horizontalalignment="right"
        )  # fmt: skip


def _say_language(file: PdfPages, language: str) -> None:
    """The catalogue once more, with the language and the wish that the title be shown (PDF 32000-1,
    7.7.2): matplotlib has no parameter for either. The later object is the one that counts."""
    inner = file._ensure_file()  # type: ignore[no-untyped-call]  # noqa: SLF001  # the only way
    catalogue = {
        "Type": Name("Catalog"),  # type: ignore[no-untyped-call]
        "Pages": inner.pagesObject,
        "Lang": language.encode(),
        "ViewerPreferences": {"DisplayDocTitle": True},
    }
    inner.writeObject(inner.rootObject, catalogue)


def _places(columns: Sequence[Column]) -> tuple[list[float], list[float]]:
    """Left edges and widths, in points; between two columns some room stays."""
    whole = sum(column.share for column in columns)
    wide = [column.share / whole * WIDTH for column in columns]
    lefts = [MARGIN + sum(wide[:i]) for i in range(len(wide))]
    return lefts, [one - 7.0 for one in wide]


def _height_of(cells: Sequence[Sequence[str]]) -> float:
    return max(1, *(len(lines) for lines in cells)) * _LINE * SMALL + 4.0


def _row(
    cells: Sequence[Sequence[str]],
    columns: Sequence[Column],
    lefts: Sequence[float],
    widths: Sequence[float],
    *,
    colour: str = INK,
    rule: bool = False,
) -> Draw:
    def draw(sheet: Sheet, top: float) -> None:
        if rule:
            sheet.ground.plot([MARGIN, MARGIN + WIDTH], [top, top], color=HAIRLINE, linewidth=0.5)
        for lines, column, left, width in zip(cells, columns, lefts, widths, strict=True):
            for row, line in enumerate(lines):
                sheet.write(
                    left + width if column.right else left,
                    top + 2.0 + SMALL + row * _LINE * SMALL,
                    line,
                    SMALL,
                    colour=colour,
                    horizontalalignment="right" if column.right else "left",
                )

    return draw
