"""The page put together."""

from __future__ import annotations

import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from contextlib import asynccontextmanager

from fastapi import APIRouter, FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Route

from analysis.page import faults
from analysis.page.access.access import Access
from analysis.page.access.guard import Guard
from analysis.page.assets import Assets
from analysis.page.finding import routers
from analysis.page.parts import Parts
from analysis.page.showing import environment_of
from analysis.page.working import Working
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.home import Home
from config.settings import Settings, load_settings

_WORTH_PACKING_BYTES = 1000


def _wall_clock_ms() -> int:
    return time.time_ns() // 1_000_000


def create_app(
    home: Home,
    *,
    settings: Settings | None = None,
    now_ms: Callable[[], int] = _wall_clock_ms,
    monotonic: Callable[[], float] = time.monotonic,
) -> FastAPI:
    """The page of a home. Raises NotSo or BadSettings, one line, when there is none to show."""
    settings = settings if settings is not None else load_settings(home)
    assets = Assets()
    parts = Parts(
        home=home,
        settings=settings,
        care=load_care_profile(settings.care.profile, home.folder / "care"),
        reader=open_reader(home, settings),
        assets=assets,
        environment=environment_of(settings, assets),
        access=Access(home, settings, now_ms, monotonic),
        now_ms=now_ms,
        working=Working(home),
    )
    app = FastAPI(
        title="Warmcoil",
        summary="Meals, readings and alarms of one home.",
        version="1",
        openapi_url="/api/openapi.json",
        docs_url=None,  # they would be fetched from another host
        redoc_url=None,
        lifespan=_closing,
        responses=faults.DESCRIBED,
        redirect_slashes=False,
    )
    app.state.parts = parts
    found = list(routers())
    for router in found:
        app.include_router(router)
    app.state.paths = frozenset(_paths(found))
    faults.register(app)
    app.add_middleware(GZipMiddleware, minimum_size=_WORTH_PACKING_BYTES)
    app.add_middleware(Guard, access=parts.access)  # added last: the outermost
    return app


def _paths(found: Iterable[APIRouter]) -> Iterator[str]:
    """The addresses there is something at, for links that are shown only then."""
    for router in found:
        yield from (one.path for one in router.routes if isinstance(one, Route))


@asynccontextmanager
async def _closing(app: FastAPI) -> AsyncIterator[None]:
    yield
    app.state.parts.working.close()
    app.state.parts.reader.close()
