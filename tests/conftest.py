"""Options of the tests."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--full`: every fault at its full count, for `make promises`."""
    parser.addoption("--full", action="store_true", help="try every fault at its full count")
