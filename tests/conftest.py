"""Options of the tests, and how many examples a law is tried with."""

from __future__ import annotations

import pytest
from hypothesis import settings
from xdist.scheduler import LoadScopeScheduling

TOGETHER = (
    ("tests/browser/", "the browser"),
    ("tests/faults/test_influx.py", "the InfluxDB"),
    ("tests/faults/test_archive_move.py", "the InfluxDB"),
    ("tests/faults/test_two_collectors.py", "the InfluxDB"),
    ("tests/contract/test_archive.py", "the InfluxDB"),
    ("tests/analysis/test_lasting.py", "the InfluxDB"),
    ("tests/analysis/cli/test_commands.py", "the book of one animal"),
    ("tests/analysis/cli/test_enclosure.py", "two enclosures"),
    ("tests/analysis/cli/test_feeding.py", "the feeding of one animal"),
    ("tests/analysis/cli/writing/test_terminal.py", "a book at a terminal"),
    ("tests/analysis/demo/test_build.py", "the demo's home"),
    ("tests/analysis/demo/test_run.py", "the demo at work"),
)
"""What takes seconds to make: one worker makes it once, for all the tests that begin so."""

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


class _Together(LoadScopeScheduling):  # type: ignore[misc]  # xdist's classes have no types
    """Each test for itself, to whichever worker is free, but for those of TOGETHER.

    Of our own because xdist finds its groups in a part of pytest that 9.2 no longer has.
    """

    def _split_scope(self, nodeid: str) -> str:
        return next((what for begins, what in TOGETHER if nodeid.startswith(begins)), nodeid)


@pytest.hookimpl(optionalhook=True)  # unknown where xdist is switched off
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> _Together | None:
    """With `--dist loadgroup`, which `make test` asks for."""
    return _Together(config, log) if config.getoption("dist") == "loadgroup" else None
