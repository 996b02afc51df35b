"""Answering an alarm, as a person does it: on the alarms' screen, and from a message."""

from __future__ import annotations

import time
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext

from analysis.watch.links import links_for
from analysis.watch.requests import Action
from analysis.watch.states import AlarmKey, Kind
from tests.browser.conftest import Visits
from tests.browser.test_door import tab_to
from tests.browser.test_keyboard import walk
from tests.browser.test_screens import look_at
from tests.page_process import PageProcess

LOW = AlarmKey(Kind.WARM_SIDE_LOW, "left shelf")


def test_from_a_message_by_who_never_said_the_pass_phrase(
    stranger: BrowserContext, served: PageProcess, visits: Visits
) -> None:
    now_ms = time.time_ns() // 1_000_000
    found = dict(links_for(LOW, served.home, served.address, now_ms))
    path = urlsplit(found[Action.ACKNOWLEDGE]).path
    with visits(stranger, path) as page:
        assert "Warm side low in left shelf" in page.inner_text("main")
        walk(page)
        look_at(page, "/answer")
        page.click("button")
        page.wait_for_selector("h1:has-text('Answered')")
        assert "to acknowledge. The watch will carry it out" in page.inner_text("[role=status]")
        look_at(page, "/answer-done")


def test_shelving_by_keyboard(insider: BrowserContext, visits: Visits) -> None:
    with visits(insider, "/alarms") as page:
        tab_to(page, "Shelve")
        page.keyboard.press("Enter")
        look_at(page, "/alarms-shelve")
        page.keyboard.press("Tab")
        page.keyboard.type("till morning")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        page.wait_for_url("**/alarms?asked=*")
        assert "to shelve until" in page.inner_text("[role=status]")
        assert "08:00" in page.inner_text("[role=status]")
