"""By keyboard alone: everything is reached, and the focus can be seen where it is."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import Visits
from tests.browser.seeing import measure

LEAST_OUTLINE_PX = 2
"""WCAG 2.2, 2.4.13 (AAA): an indicator as large as a 2 px outline."""


def walk(page: Page) -> None:
    """Tab from the top to the end; every stop is reached, shows its focus, and is not covered
    (WCAG 2.2, 2.1.1, 2.4.7 and 2.4.11). A field for a day is several stops of its own."""
    stops: list[str] = measure(page, "stops")
    assert stops
    reached: list[str] = []
    for _ in range(len(stops) + 40):
        page.keyboard.press("Tab")
        focus = measure(page, "focus")
        if focus is None:
            break
        assert focus["outline"] >= LEAST_OUTLINE_PX, f"no visible focus: {focus['name']}"
        assert focus["seen"], f"covered, or out of sight: {focus['name']}"
        reached.append(focus["name"])
    assert sorted(set(stops) - set(reached)) == []
    assert reached[0] == "<a> To the content"


def test_the_first_stop_leads_past_the_links(insider: BrowserContext, visits: Visits) -> None:
    with visits(insider, "/meal/2") as page:
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "main"
