"""One real page process over a furnished home, one browser, and who looks at it.

The browser is Debian's chromium, headless, driven through playwright. Nothing but this machine can
be reached from it; every request is looked at all the same.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from analysis.watch.links import links_for
from tests.browser.furnished import OPEN_ALARM, PHRASE, furnish
from tests.browser.watched import Watched
from tests.page_process import PageProcess

Visits = Callable[..., AbstractContextManager[Page]]

PICTURES = Path(__file__).parents[2] / "artefacts" / "browser"
PATIENCE_MS = 60_000
"""Far more than is needed: for a machine that is busy with other things."""
_FLAGS = (
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--disable-gpu",
    "--force-prefers-reduced-motion",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A browser is slow where much else is to be done."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.timeout(5 * PATIENCE_MS / 1000))


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """The browser. Where there is none, its tests are skipped, but never on a build machine."""
    path = shutil.which("chromium")
    if path is None:
        said = "chromium is not installed (Debian package chromium)"
        if os.environ.get("CI"):
            pytest.fail(said)
        pytest.skip(said)
    flags = [*_FLAGS, *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=path, args=flags)
        yield one
        one.close()


@pytest.fixture(scope="package")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageProcess]:
    """The page, in a process of its own. What went wrong in it, it would have said."""
    with PageProcess(furnish(tmp_path_factory.mktemp("browser") / "home")) as one:
        yield one
        assert "Traceback" not in one.log_text()


@pytest.fixture(scope="package")
def insider(browser: Browser, served: PageProcess) -> Iterator[BrowserContext]:
    """Who has said the pass phrase."""
    context = _context(browser, served)
    page = context.new_page()
    page.goto("/enter")
    page.fill("#passphrase", PHRASE)
    page.press("#passphrase", "Enter")
    page.wait_for_url(served.address + "/")
    page.close()
    yield context
    context.close()


@pytest.fixture(scope="package")
def without_script(
    browser: Browser, served: PageProcess, insider: BrowserContext
) -> Iterator[BrowserContext]:
    """The same person, in a browser that runs no script."""
    context = _context(
        browser, served, java_script_enabled=False, storage_state=insider.storage_state()
    )
    yield context
    context.close()


@pytest.fixture
def stranger(browser: Browser, served: PageProcess) -> Iterator[BrowserContext]:
    """Who has not said it."""
    context = _context(browser, served)
    yield context
    context.close()


def _context(browser: Browser, served: PageProcess, **more: object) -> BrowserContext:
    context = browser.new_context(
        base_url=served.address,
        viewport={"width": 390, "height": 844},
        reduced_motion="reduce",
        locale="en-GB",
        **more,  # type: ignore[arg-type]
    )
    context.set_default_timeout(PATIENCE_MS)
    return context


def filled(address: str, served: PageProcess) -> str:
    """An example address with what only the running home knows."""
    now_ms = time.time_ns() // 1_000_000
    link = links_for(OPEN_ALARM, served.home, served.address, now_ms)[0][1]
    return address.replace("/answer/LINK", link).replace("NOW", str(now_ms))


def settled(page: Page) -> None:
    """Wait until a plot that a script draws is drawn."""
    if page.query_selector("#plot[data-meal]:not([hidden])"):
        page.wait_for_selector("#plot-ground .main-svg")


@pytest.fixture
def visits(served: PageProcess) -> Visits:
    """`with visits(context, address) as page`: a page that is watched, and loaded whole."""

    @contextmanager
    def visit(context: BrowserContext, address: str, status: int = 200) -> Iterator[Page]:
        page = context.new_page()
        watched = Watched(page, served.address)
        try:
            answer = page.goto(filled(address, served), wait_until="load")
            assert answer is not None
            assert answer.status == status, (
                f"{address} answers {answer.status}; how to open it is said in "
                "tests/browser/screens.py: EXAMPLES"
            )
            settled(page)
            yield page
            watched.must_be_clean(address)
        finally:
            page.close()

    return visit
