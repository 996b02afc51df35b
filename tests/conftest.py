"""Options of the tests, and how many examples a law is tried with."""

from __future__ import annotations

import pytest
from hypothesis import settings

settings.register_profile("share", max_examples=30)
settings.register_profile("full", max_examples=500)


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--full`: every fault and every law at its full count."""
    parser.addoption("--full", action="store_true", help="try faults and laws at their full count")


def pytest_configure(config: pytest.Config) -> None:
    """Laws are tried with a share of their examples, unless all of them are asked for."""
    settings.load_profile("full" if config.getoption("--full") else "share")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks what hypothesis tries, so that `make campaigns` finds it."""
    for item in items:
        if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
            item.add_marker(pytest.mark.law)
