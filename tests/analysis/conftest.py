"""The scenes, each written, gathered and judged once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from tests.analysis.figures.scenes import SCENES, Drawn, draw_scene


@pytest.fixture(scope="session")
def scene_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Drawn]:
    """A scene by its name."""

    @cache
    def found(name: str) -> Drawn:
        folder: Path = tmp_path_factory.mktemp(name)
        return draw_scene(SCENES[name](), folder)

    return found
