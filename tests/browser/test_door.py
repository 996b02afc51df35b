"""Coming in and leaving, as a person does it."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import Visits
from tests.browser.furnished import PHRASE
from tests.browser.test_keyboard import walk
from tests.browser.test_screens import look_at


def test_the_door_looks_right(stranger: BrowserContext, visits: Visits) -> None:
    with visits(stranger, "/enter?to=/meal/2") as page:
        walk(page)
        look_at(page, "/enter")


def test_in_and_out_by_keyboard(stranger: BrowserContext, visits: Visits) -> None:
    with visits(stranger, "/meal/2") as page:
        assert page.inner_text("h1") == "Say the pass phrase"
        say(page, f"{PHRASE}, not")
        assert "That was not it" in page.inner_text("[role=alert]")
        look_at(page, "/enter-wrong")
        say(page, PHRASE)
        page.wait_for_url("**/meal/2")
        assert "rat" in page.inner_text("h1")
        tab_to(page, "Leave")
        page.keyboard.press("Enter")
        page.wait_for_url("**/enter")
        page.goto("/")
        assert page.inner_text("h1") == "Say the pass phrase"


def say(page: Page, phrase: str) -> None:
    """Type it where the tab key leads, and send it."""
    tab_to(page, "passphrase")
    page.keyboard.type(phrase)
    page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")


def tab_to(page: Page, words: str) -> None:
    """Press the tab key until the focus is on what has these words, or this id."""
    focused = "[document.activeElement.id, document.activeElement.innerText ?? '']"
    for _ in range(60):
        page.keyboard.press("Tab")
        if words in page.evaluate(focused):
            return
    raise AssertionError(f"the tab key does not lead to {words!r}")
