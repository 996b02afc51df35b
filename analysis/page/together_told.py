"""All meals together, told: how many came back, the plot, the table, and what is asked for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal
from urllib.parse import urlencode

from markupsafe import Markup

from analysis.figures.outcomes_svg import Lane, Point, outcomes_svg
from analysis.page.addresses import animal_path
from analysis.page.looking import Looking
from analysis.page.ribbons import two_widths
from analysis.review_row import Cells, ReviewRow, cells
from analysis.words import (
    NOT_KNOWN,
    plain,
    temperature,
    temperature_span,
    temperature_unit,
    whole_hours,
)
from config.errors import Unusable
from config.settings import Settings

PER_PAGE = 50
Order = Literal["newest", "coldest"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for: an animal or all (""), days of the home, both included, an order."""

    animal: str = ""
    first: date | None = None
    last: date | None = None
    order: Order = "newest"
    page: int = 1

    @property
    def part(self) -> bool:
        """True for a part of the meals."""
        return bool(self.animal or self.first or self.last)

    def path(self, page: int = 1) -> str:
        """The address of a page of it."""
        said = {
            "animal": self.animal,
            "first": self.first.isoformat() if self.first is not None else "",
            "last": self.last.isoformat() if self.last is not None else "",
            "order": self.order if self.order != "newest" else "",
            "page": str(page) if page > 1 else "",
        }
        query = urlencode({name: value for name, value in said.items() if value})
        return f"/together?{query}" if query else "/together"


@dataclass(frozen=True, slots=True)
class TableRow:
    """One meal in the table, in words."""

    meal: int
    animal_path: str
    said: Cells
    mean: str
    cool_side: str
    below_if_cold: str
    degree_hours: str


@dataclass(frozen=True, slots=True)
class Together:
    """What the screen shows of the meals asked for."""

    count: int
    sentence: str
    plot: Markup
    not_drawn: int
    """Meals of which nothing was read on the warm side."""
    floor: str
    table: list[TableRow]
    first: int
    page: int
    pages: int


def day(text: str, name: str) -> date | None:
    """A day as a browser's field sends it; None for an empty one. Raises Unusable."""
    if not text.strip():
        return None
    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise Unusable(f"{name}: {text!r} is not a day; write 2026-03-01") from None
    if not 1970 <= found.year <= 9998:
        raise Unusable(f"{name}: {text} lies outside 1970 to 9998")
    return found


def together(rows: Sequence[ReviewRow], asked: Asked, home: Looking) -> Together:
    """The meals asked for."""
    own = list(_asked_for(rows, asked, home))
    drawn = [one for one in own if one.below_h is not None]
    if asked.order == "coldest":
        own.sort(key=lambda one: (-(one.below_h if one.below_h is not None else -1.0), -one.meal))
    else:
        own.reverse()
    floor_c = next((one.floor_c for one in own if one.floor_c is not None), None)
    floor = temperature(floor_c if floor_c is not None else home.care.levels_c("below")[0],
                        home.settings)  # fmt: skip
    pages = max(1, -(-len(own) // PER_PAGE))
    page = min(asked.page, pages)
    first = (page - 1) * PER_PAGE
    sentence = _sentence(own)
    return Together(
        count=len(own),
        sentence=sentence,
        plot=_plot(drawn, floor, sentence),
        not_drawn=len(own) - len(drawn),
        floor=floor,
        table=[_table_row(one, home.settings) for one in own[first : first + PER_PAGE]],
        first=first + 1,
        page=page,
        pages=pages,
    )


def _asked_for(rows: Sequence[ReviewRow], asked: Asked, home: Looking) -> Iterator[ReviewRow]:
    start_ms = _midnight_ms(asked.first, home)
    end_ms = _midnight_ms(asked.last + timedelta(days=1) if asked.last is not None else None, home)
    for one in rows:
        if asked.animal and one.animal != asked.animal:
            continue
        if start_ms is not None and one.taken_at_ms < start_ms:
            continue
        if end_ms is None or one.taken_at_ms < end_ms:
            yield one


def _midnight_ms(of: date | None, home: Looking) -> float | None:
    if of is None:
        return None
    return datetime(of.year, of.month, of.day, tzinfo=home.zone).timestamp() * 1000


def lane_of(one: ReviewRow) -> Lane:
    """The lane of a meal's outcome."""
    if one.came_back is None:
        return "not known yet"
    return "came back" if one.came_back else "stayed down"


def _sentence(own: Sequence[ReviewRow]) -> str:
    counts = Counter(lane_of(one) for one in own)
    meals = "1 meal" if len(own) == 1 else f"{len(own):,} meals"
    words = [f"{counts['came back']:,} came back", f"{counts['stayed down']:,} stayed down"]
    if counts["not known yet"]:
        words.append(f"of {counts['not known yet']:,} it is not known yet")
    return f"{meals}: {', '.join(words)}"


def _plot(drawn: Sequence[ReviewRow], floor: str, sentence: str) -> Markup:
    if not drawn:
        return Markup()
    points = [
        Point(
            one.below_h or 0.0,
            lane_of(one),
            f"meal {one.meal}, {plain(one.animal)}: {whole_hours(one.below_h)} below {floor}",
        )
        for one in drawn
    ]
    words = f"the floor of {floor}, on the warm side"
    said = f"{sentence}; each a mark, by hours below {words}"
    wide, narrow = (outcomes_svg(points, words, said, width=width) for width in (860, 350))
    return two_widths(wide, narrow)


def _table_row(one: ReviewRow, settings: Settings) -> TableRow:
    return TableRow(
        meal=one.meal,
        animal_path=animal_path(one.animal),
        said=cells(one, settings),
        mean=temperature(one.warm_mean_c, settings),
        cool_side=temperature_span(one.cool_low_c, one.cool_high_c, settings),
        below_if_cold=whole_hours(one.below_if_cold_h),
        degree_hours=_degree_hours(one.degree_h, settings),
    )


def _degree_hours(amount: float | None, settings: Settings) -> str:
    if amount is None:
        return NOT_KNOWN
    shown = amount * 1.8 if settings.show.temperature == "degF" else amount
    unit = f"{temperature_unit(settings)}·h"
    return f"under 1 {unit}" if 0 < shown < 1 else f"{int(shown):,} {unit}"
