"""Take away: records and reviews as CSV, a meal's readings, its plot and its ribbon as files.

The files of records and readings are those of `warmcoil export`, byte for byte, and go back in:
their texts stand as they were entered. With `for=spreadsheet` a text that a spreadsheet would run
as a formula has an apostrophe before it; such a file is to be looked at, not to be imported. The
table of reviews is never imported, and is always harmless in that way.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from starlette.responses import Response, StreamingResponse

from analysis.figures.meal_shape import meal_ribbon
from analysis.figures.ribbon_svg import ribbon_svg
from analysis.gathering import Facts, gathered_from
from analysis.meal_words import meal_sentence
from analysis.page.apart import NotMadeError, made_apart
from analysis.page.api.asking import MealNumber, must_be_taken
from analysis.page.looking import looking
from analysis.page.parts import parts_of
from analysis.page.review_rows import review_rows
from analysis.page.ribbons import WIDE
from analysis.page.screens import Entry
from analysis.page.showing import show
from analysis.page.taking import as_file, csv_text, harmless_rows, kept_as
from analysis.probes_there import probes_there
from analysis.review import review, review_all
from analysis.tracks import Tracks
from analysis.window import taken_at_ms
from analysis.words import local_day_of
from collector.exchange import export_rows
from collector.exchange.going_out import reading_rows
from collector.exchange.readings_in import READINGS_COLUMNS
from config.errors import NotSo

router = APIRouter(include_in_schema=False)
ENTRY = Entry("Take away", "/take-away", order=90)

RECORDS = {
    "meals": "Every offer of prey, and what became of it",
    "weights": "Weighings",
    "sheds": "Sheds",
    "droppings": "Droppings",
    "looks": "Looks at body condition",
    "handling": "Handling",
    "animals": "Animals, and where they live",
    "enclosures": "Enclosures",
    "placements": "Where the probes lie",
    "calibrations": "Calibrations of the probes",
}
_CSV = "text/csv; charset=utf-8"
_PICTURES = {"png": "image/png", "svg": "image/svg+xml"}

For = Annotated[Literal["import", "spreadsheet"], Query(alias="for")]


@router.get("/take-away")
def screen(request: Request) -> Response:
    """What there is to take."""
    with looking(request) as home:
        names = [one.animal for one in home.book.animals()]
        return show(request, "take_away.html", home, records=RECORDS, animals=names)


@router.get("/take-away/reviews.csv")
def reviews(request: Request) -> Response:
    """Every meal judged, one row each."""
    with looking(request) as home:
        found = review_all(home.book, home.reader, home.care, home.settings, home.now_ms)
        rows = harmless_rows(review_rows(found, home.zone))
        return as_file(csv_text(rows), "reviews.csv", _CSV)


@router.get("/take-away/{kind}.csv")
def records(request: Request, kind: str, meant: For = "import") -> Response:
    """One kind of records, as `warmcoil export` writes it."""
    if kind not in RECORDS:
        raise NotSo(f"no kind {kind!r} of records; there are: {', '.join(RECORDS)}")
    out = io.StringIO()
    with looking(request) as home:
        export_rows(kind, out, book=home.book, reader=home.reader, settings=home.settings)
    text, name = out.getvalue(), f"{kind}.csv"
    if meant == "spreadsheet":
        text = csv_text(harmless_rows(csv.reader(io.StringIO(text, newline=""))))
        name = f"{kind} for a spreadsheet.csv"
    return as_file(text, name, _CSV)


@router.get("/meal/{meal}/readings.csv")
def readings(request: Request, meal: MealNumber) -> Response:
    """The readings of a meal's window from the probes that lay where the animal was, as the CSV of
    readings has them; sent as they are read."""
    with looking(request) as home:
        record = home.book.meal(meal)
        must_be_taken(taken_at_ms(record), meal)
        facts, tracks = Facts.of(home.book, record.animal), Tracks(home.reader)
        window = gathered_from(
            record, facts, tracks,
            care=home.care, settings=home.settings, now_ms=home.now_ms, with_room=False,
        ).window  # fmt: skip
        stays = facts.stays.get(record.animal, [])
        spans = probes_there(stays, facts, tracks, window.start_ms, window.end_ms)
        reader, zone = home.reader, home.zone

    def rows() -> Iterator[str]:
        yield csv_text([READINGS_COLUMNS])
        for key, start_ms, end_ms in spans:
            for some in reading_rows(reader, key, start_ms, end_ms, zone):
                yield csv_text(some)

    name = f"{record.animal} meal {meal} readings.csv"
    return StreamingResponse(rows(), media_type=_CSV, headers=kept_as(name))


@router.get("/meal/{meal}/plot.{kind}")
def plot(request: Request, meal: MealNumber, kind: Literal["png", "svg"]) -> Response:
    """The post-meal plot with its words, drawn in a process of its own."""
    with looking(request) as home:
        record = home.book.meal(meal)
        must_be_taken(taken_at_ms(record), meal)
        now_ms = home.now_ms
    try:
        made = made_apart(
            parts_of(request).home, "analysis.meal_picture",
            [f"--meal={meal}", f"--now={now_ms}"], f".{kind}",
        )  # fmt: skip
    except NotMadeError as fault:
        heading = "The plot could not be drawn"
        return show(request, "fault.html", status=503, heading=heading, text=str(fault))
    return as_file(made, f"{record.animal} meal {meal} plot.{kind}", _PICTURES[kind])


@router.get("/meal/{meal}/ribbon.svg")
def ribbon(request: Request, meal: MealNumber) -> Response:
    """The ribbon alone."""
    with looking(request) as home:
        record = home.book.meal(meal)
        taken_ms = must_be_taken(taken_at_ms(record), meal)
        facts, tracks = Facts.of(home.book, record.animal), Tracks(home.reader)
        gathered = gathered_from(
            record, facts, tracks,
            care=home.care, settings=home.settings, now_ms=home.now_ms, with_room=False,
        )  # fmt: skip
        judged = review(gathered, home.care, home.settings)
        shape = meal_ribbon(judged, gathered, home.care)
        drawn = ribbon_svg(shape, meal_sentence(record, home.settings), WIDE)
        day = local_day_of(taken_ms, home.zone).isoformat()
    name = f"{record.animal} meal {meal} {day}.svg"
    return as_file(f'<?xml version="1.0" encoding="UTF-8"?>\n{drawn}\n', name, _PICTURES["svg"])
