"""Templates, and the words that stand in them. Everything is escaped unless it is ours.

Filters for templates (all from `analysis.words`, in the keeper's units and zone):
`{{ c | temperature }}`, `{{ g | mass }}`, `{{ ms | local_time }}`, `{{ ms | clock }}`,
`{{ ms | day }}`, `{{ h | hours }}`, `{{ text | plain }}`, `{{ text | begun }}`; and
`{{ age_of(ms) }}` says how long ago, `{{ input_time(ms) }}` fills a field for a local time.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse

from analysis import words
from analysis.page.access.visit import visit_of
from analysis.page.addresses import animal_path
from analysis.page.assets import Assets
from analysis.page.finding import entries
from analysis.page.looking import Looking
from analysis.page.parts import parts_of
from analysis.page.screens import DAILY
from config.settings import Settings

FOLDER = Path(__file__).with_name("templates")
LOCAL_INPUT = "%Y-%m-%dT%H:%M"
"""How a browser's field for a local time wants it."""


def environment_of(settings: Settings, assets: Assets) -> Environment:
    """The templates' environment: always escaping, and nothing unknown passed over."""
    environment = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    zone = settings.zone
    environment.filters.update(
        temperature=partial(words.temperature, settings=settings),
        mass=partial(words.mass, settings=settings),
        width=partial(words.width, settings=settings),
        hours=words.hours,
        local_time=partial(words.local_time, zone=zone),
        clock=partial(words.local_clock, zone=zone),
        day=partial(words.local_day, zone=zone),
        plain=words.plain,
        age=words.age,
        begun=_begun,
    )
    environment.globals.update(
        static=assets.address,
        plotly_marks=assets.plotly_marks,
        settings=settings,
        animal_path=animal_path,
    )
    return environment


def show(
    request: Request,
    template: str,
    home: Looking | None = None,
    *,
    status: int = 200,
    headers: dict[str, str] | None = None,
    **context: Any,
) -> HTMLResponse:
    """A template as a page. `home` is handed to it, with `age_of` and `input_time`."""
    parts, visit = parts_of(request), visit_of(request)
    moment_ms = home.now_ms if home is not None else parts.now_ms()
    text = parts.environment.get_template(template).render(
        home=home,
        now_ms=moment_ms,
        path=request.url.path,
        top=entries(),
        daily=[one for one in DAILY if one.path in served(request)],
        served=served(request),
        zone_words=zone_words(moment_ms, parts.settings),
        signed_in=visit.signed_in,
        form_token=visit.form_token,
        age_of=lambda at_ms: words.age(None if at_ms is None else (moment_ms - at_ms) / 1000),
        input_time=lambda at_ms: _input_time(at_ms, parts.settings),
        **context,
    )
    return HTMLResponse(text, status_code=status, headers=headers)


def zone_words(at_ms: int, settings: Settings) -> str:
    """The home's zone by its name, and what the clock there is called now: "Europe/Lisbon, WET"."""
    name = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(settings.zone).tzname() or ""
    return (
        settings.time_zone
        if name in ("", settings.time_zone)
        else (f"{settings.time_zone}, {name}")
    )


def _begun(text: str) -> str:
    """As a sentence begins."""
    return f"{text[:1].upper()}{text[1:]}"


def _input_time(at_ms: int, settings: Settings) -> str:
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(settings.zone)
    return moment.strftime(LOCAL_INPUT)


def served(request: Request) -> frozenset[str]:
    """The addresses of all screens, as their routers say them."""
    paths: frozenset[str] = request.app.state.paths
    return paths
