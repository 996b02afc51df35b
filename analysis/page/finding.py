"""Screens and API rooms, found by themselves: every module of their packages that has a router."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from types import ModuleType

from fastapi import APIRouter

from analysis.page import api, screens
from analysis.page.screens import Entry


def routers() -> Iterator[APIRouter]:
    """The routers of the API, then those of the screens, by the names of their modules.

    Those with an address that takes all that follows (a name may hold a slash) come last, so that
    they take nothing away from the others.
    """
    for package in (api, screens):
        found = [getattr(module, "router", None) for module in _modules(package)]
        yield from sorted((one for one in found if isinstance(one, APIRouter)), key=_takes_all)


def _takes_all(router: APIRouter) -> bool:
    return any(getattr(route, "path", "").endswith(":path}") for route in router.routes)


def entries() -> list[Entry]:
    """The links at the top of every page, in their order."""
    found = (getattr(module, "ENTRY", None) for module in _modules(screens))
    return sorted((one for one in found if isinstance(one, Entry)), key=lambda one: one.order)


def _modules(package: ModuleType) -> Iterator[ModuleType]:
    for found in sorted(pkgutil.iter_modules(package.__path__), key=lambda one: one.name):
        yield importlib.import_module(f"{package.__name__}.{found.name}")
