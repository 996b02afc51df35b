"""One enclosure: its sentence, its lines from hours to a year, who digests what in it."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from analysis.enclosure_model import model_of_book
from analysis.enclosure_model_words import model_sentences
from analysis.figures.climate_svg import climate_svg
from analysis.page.enclosure_told import SPANS, USUAL, Span, enclosure_climate
from analysis.page.enclosures_now import enclosure_now, must_be_enclosure
from analysis.page.looking import Looking, looking
from analysis.page.ribbons import two_widths
from analysis.page.showing import show
from analysis.verdict_words import CANNOT_TELL
from analysis.words import DAY_MS, HOUR_MS
from config.errors import Unusable

router = APIRouter(include_in_schema=False)

Name = Annotated[str, Path(min_length=1, max_length=500)]
_WIDE, _NARROW = 860, 350


@router.get("/enclosure/{name:path}/what-it-is-like")
def like(request: Request, name: Name) -> Response:
    """How it cools and what its heater holds, from all its readings: some seconds of reckoning, so
    it has a screen of its own."""
    with looking(request) as home:
        must_be_enclosure(name, home)
        model = model_of_book(name, home.book, home.reader, home.settings, home.now_ms)
        floor_c = home.care.alarm.warm_side_low.value
        lines = model_sentences(model, None, floor_c, home.settings)
        return show(request, "enclosure_like.html", home, name=name, path_to=_path(name),
                    lines=lines)  # fmt: skip


@router.get("/enclosure/{name:path}")
def one_enclosure(
    request: Request, name: Name, span: Annotated[str, Query(max_length=20)] = USUAL.name
) -> Response:
    """The screen."""
    chosen = next((one for one in SPANS if one.name == span), None)
    if chosen is None:
        raise Unusable(f"span: {span!r} is none of {', '.join(one.name for one in SPANS)}")
    with looking(request) as home:
        now = enclosure_now(name, home)
        begin_ms = home.now_ms - chosen.length_ms
        climate, _ = enclosure_climate(name, home, begin_ms, home.now_ms, 2 * _WIDE)
        said = f"{now.name}: {now.sentence}"
        still = two_widths(
            climate_svg(climate, home.settings, said, width=_WIDE, height=340),
            climate_svg(climate, home.settings, said, width=_NARROW, height=280),
        )
        asks = {"enclosure": name, "begin": begin_ms, "hours": chosen.length_ms / HOUR_MS}
        return show(
            request, "enclosure.html", home,
            now=now, still=still, spans=SPANS, chosen=chosen, path_to=_path(name),
            source=f"/api/enclosure-plot?{urlencode(asks)}", cannot_tell=CANNOT_TELL,
            raw_days=_raw_days(home, chosen),
        )  # fmt: skip


def _raw_days(home: Looking, span: Span) -> int | None:
    """How many days stay raw, where the span reaches further back."""
    days = home.settings.retention.raw_days
    return days if days is not None and span.length_ms > days * DAY_MS else None


def _path(name: str) -> str:
    return f"/enclosure/{quote(name, safe='')}"
