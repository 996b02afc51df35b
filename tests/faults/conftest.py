"""How often a fault is tried: a short share in `make test`, all of it in `make promises`."""

from __future__ import annotations

from collections.abc import Callable

import pytest


@pytest.fixture
def times(request: pytest.FixtureRequest) -> Callable[[int, int], int]:
    """`times(short, full)`: how often to try a fault in this run."""
    full = bool(request.config.getoption("--full"))
    return lambda short, whole: whole if full else short
