"""What the whole page shares, made once: the home, its settings, the readings, who may look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from jinja2 import Environment
from starlette.requests import HTTPConnection

from analysis.judged import JudgedMeals
from analysis.page.access.access import Access
from analysis.page.assets import Assets
from analysis.page.working import Working
from collector.store.reader import Reader
from config.care import CareProfile
from config.home import Home
from config.settings import Settings


@dataclass(frozen=True, slots=True)
class Parts:
    """The page's parts. `now_ms` is the wall clock, UTC in ms."""

    home: Home
    settings: Settings
    care: CareProfile
    reader: Reader
    assets: Assets
    environment: Environment
    access: Access
    now_ms: Callable[[], int]
    working: Working
    judged: JudgedMeals


def parts_of(request: HTTPConnection) -> Parts:
    """The parts, from any request."""
    parts: Parts = request.app.state.parts
    return parts
