"""A seeded share of `python -m tests.campaigns.node`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.broker import mosquitto_path
from tests.campaigns.node import lost_links, power_cuts, promised
from tests.micropython import micropython_path

pytestmark = pytest.mark.broker


@pytest.fixture(autouse=True)
def _there() -> None:
    micropython_path()
    if mosquitto_path() is None:
        pytest.skip("mosquitto is not installed (Debian package mosquitto)")


def test_power_cuts(tmp_path: Path) -> None:
    figures = power_cuts(tmp_path / "cuts", 3, seed=20261128)
    assert promised(figures), figures
    assert isinstance(figures["taken"], int)
    assert figures["taken"] >= 4


def test_lost_links(tmp_path: Path) -> None:
    figures = lost_links(tmp_path / "links", 3, seed=20261129)
    assert promised(figures), figures
