"""A home, its page, and who asks it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from analysis.page.app import create_app
from config.home import Home
from tests.analysis.page.homes import NOW, make_home

HERE = ("127.0.0.1", 50_000)
ADDRESS = "http://127.0.0.1:8750"

Asks = Callable[..., TestClient]


class Clock:
    """Seconds and ms that go on when told to."""

    def __init__(self) -> None:
        self.past_s = 0.0

    def now_ms(self) -> int:
        return NOW + round(self.past_s * 1000)

    def monotonic(self) -> float:
        return self.past_s


@pytest.fixture(scope="session")
def quiet_home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home that nobody writes in."""
    return make_home(tmp_path_factory.mktemp("page") / "home")


@pytest.fixture
def home(tmp_path: Path, quiet_home: Home) -> Home:
    """A home to write in: a copy of the quiet one."""
    shutil.copytree(quiet_home.folder, tmp_path / "home", ignore=shutil.ignore_patterns("page.*"))
    return Home(tmp_path / "home")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def asks(clock: Clock) -> Iterator[Asks]:
    """A browser on the page of a home: `asks(home)`; from elsewhere: `client`, `base_url`."""
    with ExitStack() as stack:

        def ask(home: Home, client: tuple[str, int] = HERE, base_url: str = ADDRESS) -> TestClient:
            app = create_app(home, now_ms=clock.now_ms, monotonic=clock.monotonic)
            browser = TestClient(app, base_url=base_url, client=client, follow_redirects=False)
            return stack.enter_context(browser)

        yield ask


@pytest.fixture
def page(quiet_home: Home, asks: Asks) -> TestClient:
    """A browser on this machine, at the page of the quiet home."""
    return asks(quiet_home)
