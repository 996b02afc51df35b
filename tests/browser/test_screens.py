"""Every screen, as a person meets it: on a phone and a desk, by day and by night."""

from __future__ import annotations

import re
import time

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import PICTURES, Visits
from tests.browser.screens import EXAMPLES, addresses, examples, screens
from tests.browser.seeing import measure, violations
from tests.browser.test_keyboard import walk

PHONE, DESK = (390, 844), (1280, 800)
NARROW = (360, 320)
"""Our own promise; and WCAG 2.2, 1.4.10: nothing is lost at 320 CSS px."""
TARGET_PX = 44
"""Our own promise; WCAG 2.2, 2.5.5 (AAA) has the same figure, 2.5.8 (AA) has 24."""
SCHEMES = ("light", "dark")


def test_every_screen_is_known_how_to_open() -> None:
    unknown = [one.template for one in screens() if examples(one.template) is None]
    assert not unknown, f"no example in tests/browser/screens.py for {', '.join(unknown)}"
    assert {"/", "/meal/2"} <= set(addresses())
    assert EXAMPLES["/enter"] == (), "the door has tests of its own"


@pytest.mark.parametrize("address", addresses())
def test_it_looks_right(insider: BrowserContext, visits: Visits, address: str) -> None:
    """Fits, can be pressed, breaks no rule of WCAG 2.2 AA, asks nobody else, complains of nothing,
    and does all by keyboard: at two sizes and in two schemes. Its pictures are kept."""
    with visits(insider, address) as page:
        look_at(page, address)
        walk(page)


@pytest.mark.parametrize("address", addresses())
def test_it_reads_without_script(
    without_script: BrowserContext, visits: Visits, address: str
) -> None:
    with visits(without_script, address) as page:
        assert page.inner_text("h1").strip()
        assert len(page.inner_text("main").split()) > 5
        assert measure(page, "idle_buttons") == [], "buttons that do nothing without script"
        must_fit(page)


def test_a_plot_stands_there_without_script(without_script: BrowserContext, visits: Visits) -> None:
    with visits(without_script, "/meal/2") as page:
        assert page.is_visible("#plot-still svg >> visible=true")
        assert not page.is_visible("#plot")


def test_a_fault_looks_right(insider: BrowserContext, visits: Visits) -> None:
    with visits(insider, "/nowhere", status=404) as page:
        look_at(page, "/nowhere")


def look_at(page: Page, address: str) -> None:
    """All the measures of one page, at every size and in both schemes."""
    must_fit(page)
    for name, (width, height) in (("desk", DESK), ("phone", PHONE)):
        page.set_viewport_size({"width": width, "height": height})
        assert settled_to_none(page, "sticking_out") == []
        assert measure(page, "small_targets", TARGET_PX) == []
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            if name == "phone":
                assert violations(page) == [], scheme
            keep_picture(
                page, f"{address}-{name}-{scheme}" if address != "/" else f"now-{name}-{scheme}"
            )


def must_fit(page: Page) -> None:
    """No sideways scrolling on the narrowest phones."""
    for width in NARROW:
        page.set_viewport_size({"width": width, "height": 640})
        assert settled_to_none(page, "sticking_out") == []


def settled_to_none(page: Page, name: str) -> list[str]:
    """A measure, once it finds nothing; what it still finds after a while: a plot is drawn anew
    some time after its place has another size."""
    found: list[str] = measure(page, name)
    until_s = time.monotonic() + 10
    while found and time.monotonic() < until_s:
        page.wait_for_timeout(100)
        found = measure(page, name)
    return found


def keep_picture(page: Page, name: str) -> None:
    """The whole page, as a PNG for people to look at."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
    page.screenshot(path=PICTURES / f"{plain}.png", full_page=True, animations="disabled")
