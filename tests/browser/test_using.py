"""What a keeper does on the page, done in the browser: by thumb, by keyboard, without script.

Last of all here, for it changes the home.
"""

from __future__ import annotations

import re
from typing import Literal

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from collector.book.book import Book
from collector.book.records import Meal, Zone
from config.home import Home
from tests.browser.conftest import Visits
from tests.browser.furnished import UNBROKEN
from tests.browser.screens import SEEN
from tests.browser.seeing import violations
from tests.browser.test_door import tab_to
from tests.page_process import PageProcess

Scheme = Literal["dark", "light"]


def meals(home: Home, animal: str) -> list[Meal]:
    with Book(home.book, read_only=True) as book:
        return list(book.meals(animal))


def test_a_meal_in_three_taps_and_back_with_one(
    insider: BrowserContext, visits: Visits, served: PageProcess
) -> None:
    """Prey as the last time, the time now: daily button, animal, save."""
    before = meals(served.home, UNBROKEN)
    with visits(insider, "/") as page:
        page.get_by_role("link", name="A meal", exact=True).click()
        page.get_by_role("link", name=UNBROKEN).click()
        page.get_by_role("button", name="Save").first.click()
        expect(page.locator("h1")).to_have_text("Entered")
        (new,) = [one for one in meals(served.home, UNBROKEN) if one not in before]
        assert (new.prey, new.prey_mass_g) == ("rabbit", 900.0)
        assert new.offered_at_ms is not None
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("h1")).to_have_text("Taken back")
    assert meals(served.home, UNBROKEN) == before


def test_an_outcome_from_the_first_screen(
    insider: BrowserContext, visits: Visits, served: PageProcess
) -> None:
    with visits(insider, "/") as page:
        page.get_by_role("listitem").filter(has_text=UNBROKEN).get_by_role("link").first.click()
        page.get_by_role("button", name="Passed").click()
        expect(page.locator("h1")).to_have_text("Entered")
        assert [one.outcome for one in meals(served.home, UNBROKEN)] == ["passed"]
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("h1")).to_have_text("Taken back")


def test_a_weight_by_keyboard_wrong_at_first(insider: BrowserContext, visits: Visits) -> None:
    """A refusal keeps what was typed, says so beside the field, and breaks no rule itself."""
    with visits(insider, "/write/weight?animal=Maren") as page:
        tab_to(page, "mass_g")
        page.keyboard.type("heavy")
        page.keyboard.press("Enter")
        field = page.locator("#mass_g")
        expect(field).to_have_attribute("aria-invalid", "true")
        assert field.input_value() == "heavy"
        assert page.is_visible("#mass_g-fault")
        assert violations(page) == []
        tab_to(page, "mass_g")
        page.keyboard.press("Control+A")
        page.keyboard.type("905 g")
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("/written/"))
        assert "905 g" in page.inner_text("main")
        tab_to(page, "Undo")
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_have_text("Taken back")


PHONE, DESK = ((390, 844), "dark"), ((1280, 800), "light")


@pytest.mark.parametrize("look", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize(
    "address",
    [*(f"/write/{kind}?animal=Maren" for kind in SEEN), "/meal/2/correct", "/write/outcome?meal=2"],
)
def test_every_other_form_is_sent_and_taken_back(
    insider: BrowserContext, visits: Visits, address: str, look: tuple[tuple[int, int], Scheme]
) -> None:
    """What is not prefilled is chosen or typed; then Save, and Undo."""
    (width, height), scheme = look
    with visits(insider, address) as page:
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        _fill(page)
        page.locator("main form.fields button").first.click()
        expect(page.locator("h1")).to_have_text("Entered")
        assert violations(page) == []
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("h1")).to_have_text("Taken back")


def _fill(page: Page) -> None:
    if page.locator("#mass_g").count() and not page.input_value("#mass_g"):
        page.fill("#mass_g", "905 g")
    groups = page.locator("main fieldset").filter(has=page.locator("input[type=radio]"))
    for group in groups.all():
        chosen = group.locator("input:checked")
        if group.is_visible() and not (chosen.count() and chosen.first.input_value()):
            group.locator("input[type=radio]:not([value=''])").first.check()
    for opened in page.locator("main details").all():
        opened.locator("summary").click()
    notes = page.locator("main textarea, main input[name=notes]")
    if notes.count():
        notes.first.fill("seen by lamp")


def test_a_probe_is_moved_and_back_without_script(
    without_script: BrowserContext, visits: Visits, served: PageProcess
) -> None:
    def zone() -> Zone:
        with Book(served.home.book, read_only=True) as book:
            return book.placements("room")[-1].zone

    with visits(without_script, "/probes/move?probe=room") as page:
        page.get_by_label("Cool side").check()
        page.get_by_role("button", name="Save").click()
        page.wait_for_url(re.compile("/written/"))
        assert zone() == Zone.COOL_SIDE
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("h1")).to_have_text("Taken back")
    assert zone() == Zone.ROOM


def test_an_alarm_is_answered_by_keyboard(insider: BrowserContext, visits: Visits) -> None:
    with visits(insider, "/alarms") as page:
        tab_to(page, "Acknowledge")
        page.keyboard.press("Enter")
        page.wait_for_load_state("load")
        assert "watch" in waits(page)


def waits(page: Page) -> str:
    """What the page says of what was just asked."""
    return page.inner_text(".notice[role=status]")
