"""A meal entered and corrected on the page."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from collector.book.book import Book
from collector.book.records import FedIn, Meal, Outcome, PreyState
from config.home import Home
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.homes import DAY, HOUR, MINUTE, NOW, SECOND
from tests.analysis.page.writing import form_of, open_form, said, save, saved, sure_of

LISBON = ZoneInfo("Europe/Lisbon")
FORM = "/write/meal?animal=Ondo"


@pytest.fixture
def here(home: Home, asks: Asks) -> TestClient:
    return asks(home)


def last(home: Home, animal: str = "Ondo") -> Meal:
    with Book(home.book, read_only=True) as book:
        return book.meals(animal)[-1]


def count(home: Home) -> int:
    with Book(home.book, read_only=True) as book:
        return len(book.meals())


def test_three_taps(home: Home, here: TestClient, clock: Clock) -> None:
    assert '<a class="press quiet" href="/write/meal?animal=Maren">' in here.get("/write/meal").text
    clock.past_s = 10 * DAY / 1000
    with Book(home.book, now_ms=clock.now_ms) as book:
        book.put(Meal(0, "Ondo", NOW, NOW, prey="rat", prey_count=2, prey_mass_g=81.234567,
                      prey_width_mm=30.0, prey_state=PreyState.THAWED, fed_in=FedIn.BOX,
                      prey_surface_c=38.0, notes="old"))  # fmt: skip
    assert "Entered Added meal 5: Ondo, two rats, 81 g each" in saved(here, FORM)
    at_ms = (NOW + 10 * DAY) // 1000 * 1000
    assert last(home) == Meal(
        5, "Ondo", at_ms, prey="rat", prey_count=2, prey_mass_g=81.234567, prey_width_mm=30.0,
        prey_state=PreyState.THAWED, fed_in=FedIn.BOX,
    )  # fmt: skip


def test_what_came_back_is_not_filled_in_again(here: TestClient) -> None:
    _, fields = open_form(here, "/write/meal?animal=Maren")
    assert (fields["prey"], fields["prey_mass_g"]) == ("rat", "")
    assert "half" in said(here.get("/write/meal?animal=Maren")), "what `next` has of it"


def test_everything_about_a_meal(home: Home, here: TestClient) -> None:
    saved(
        here, FORM, went="taken", ago="10 min ago", offered_at="22:10", prey="mouse",
        prey_mass_g="1,5 oz", prey_count="2", prey_width_mm="1.1in", prey_surface_c="100F",
        prey_state="fresh", fed_in="box", notes="struck at once\r\nthen waited",
    )  # fmt: skip
    now = NOW // 1000 * 1000
    assert last(home) == Meal(
        4, "Ondo", round(datetime(2026, 4, 2, 22, 10, tzinfo=LISBON).timestamp() * 1000),
        now - 10 * MINUTE, prey="mouse", prey_count=2, prey_mass_g=42.5243, prey_width_mm=27.94,
        prey_surface_c=37.7778, prey_state=PreyState.FRESH, fed_in=FedIn.BOX,
        notes="struck at once\nthen waited",
    )  # fmt: skip


def test_a_written_time_goes_before_the_chosen_one(home: Home, here: TestClient) -> None:
    text = saved(here, FORM, went="refused", ago="1 h ago", time="yesterday 20:30", prey="rat")
    assert "refused" in text
    meal = last(home)
    assert meal.offered_at_ms == round(
        datetime(2026, 4, 1, 20, 30, tzinfo=LISBON).timestamp() * 1000
    )
    assert (meal.outcome, meal.taken_at_ms, meal.outcome_at_ms) == (Outcome.REFUSED, None, None)


@pytest.mark.parametrize(
    ("field", "text", "why"),
    [
        ("prey_mass_g", "heavy", "is not a mass"),
        ("prey_mass_g", "-5g", "cannot be"),
        ("prey_mass_g", "1,830", "can be read two ways"),
        ("prey_count", "two", "is no whole number"),
        ("prey_count", "9" * 9, "at most 1000"),
        ("prey_surface_c", "90 °C", "at most 60"),
        ("prey_state", "stuffed", "is none of what may be chosen"),
        ("went", "vanished", "say whether it was offered"),
        ("time", "half past", "is not a time"),
        ("time", "tomorrow", "is not a time"),
        ("time", "2026-04-05 20:00", "is still to come"),
        ("time", "2026-03-29 01:30", "there was no 01:30"),
        ("time", "x" * 100_000, "is not a time"),
        ("notes", "a\0b", "holds a character that is no text"),
        ("notes", "n" * 20_001, "20000 are the most"),
        ("prey", "\0", "holds a character that is no text"),
        ("offered_at", "20:00", "goes with a meal that was taken"),
    ],
)  # fmt: skip
def test_a_fault_stands_beside_its_field_and_nothing_is_lost(
    home: Home, here: TestClient, field: str, text: str, why: str
) -> None:
    typed = {"prey": "rat", "notes": "kept <b>all</b>", field: text}
    answer = save(here, FORM, **typed)
    assert answer.status_code == 422
    assert why in said(answer).lower()
    assert f'id="{field}-fault"' in answer.text
    assert f'aria-describedby="{field}-fault' in answer.text
    assert 'aria-invalid="true"' in answer.text
    _, fields = form_of(answer.text)
    for name, value in typed.items():
        if not (name == field and field in ("went", "prey_state")):
            assert fields[name].replace("�", "\0") == value
    assert count(home) == 3


def test_a_doubt_is_asked_and_yes_is_for_that_doubt_only(home: Home, here: TestClient) -> None:
    answer = save(here, FORM, prey="rat", prey_mass_g="800 g")
    assert answer.status_code == 422
    assert "A meal of 800 g is 89 % of the body" in said(answer)
    action, fields = form_of(answer.text)
    worse = here.post(action, data={**fields, "prey_mass_g": "8000", "sure": sure_of(answer)})
    assert worse.status_code == 422
    assert "889 %" in said(worse)
    assert count(home) == 3
    yes = here.post(action, data={**fields, "sure": sure_of(answer)})
    assert yes.status_code == 303
    assert last(home).prey_mass_g == 800.0


def test_another_prey_with_the_last_ones_mass_is_asked_about(home: Home, here: TestClient) -> None:
    saved(here, FORM, prey="rat", prey_mass_g="80", time="2026-03-20 20:00")
    answer = save(here, FORM, prey="mouse")
    assert "80 g is what the last rat weighed: is that right for a mouse?" in said(answer)
    assert count(home) == 4
    assert save(here, FORM, prey="mouse", prey_mass_g="25").status_code == 303


def test_an_hour_that_comes_twice_is_asked_about(home: Home, asks: Asks, clock: Clock) -> None:
    there = round(datetime(2026, 10, 25, 12, 0, tzinfo=LISBON).timestamp() * 1000)
    clock.past_s = (there - NOW) / 1000
    answer = save(asks(home), FORM, time="2026-10-25 01:30")
    assert answer.status_code == 422
    assert "came twice" in said(answer)
    page = asks(home)
    saved(page, FORM, time="2026-10-25T01:30:00+00:00")
    assert last(home).offered_at_ms == there - 10 * HOUR - 30 * MINUTE
    action, fields = form_of(answer.text)
    taken = page.post(action, data={**open_form(page, FORM)[1], "time": fields["time"],
                                    "sure": sure_of(answer)})  # fmt: skip
    assert taken.status_code == 422, "there is another meal near now: a new doubt"
    assert "meal 4 was offered" in said(taken).lower()


def test_a_correction_changes_what_was_changed_and_nothing_else(
    home: Home, here: TestClient
) -> None:
    with Book(home.book, read_only=True) as book:
        before = book.meal(2)
    assert "says that already" in said(save(here, "/meal/2/correct"))
    saved(here, "/meal/2/correct", prey_mass_g="150 g", notes="")
    with Book(home.book, read_only=True) as book:
        after = book.meal(2)
    assert (after.prey_mass_g, before.prey_mass_g) == (150.0, 180.0)
    assert after.outcome_at_ms == before.outcome_at_ms == SECOND + 3 * DAY
    saved(here, "/meal/2/correct", outcome="", outcome_at="", prey_state="")
    with Book(home.book, read_only=True) as book:
        last_one = book.meal(2)
    assert (last_one.outcome, last_one.outcome_at_ms, last_one.prey_state) == (None, None, None)
    refused = save(here, "/meal/2/correct", taken_at="2026-01-01 10:00")
    assert refused.status_code == 422
    assert 'id="taken_at-fault"' in refused.text


def test_a_correction_of_what_was_changed_meanwhile_is_not_entered_unseen(
    home: Home, here: TestClient
) -> None:
    action, fields = open_form(here, "/meal/2/correct")
    saved(here, "/meal/2/correct", prey="mouse")
    answer = here.post(action, data={**fields, "prey_mass_g": "170 g"})
    assert answer.status_code == 422
    assert "Meanwhile this was changed. The book has now: meal 2: Maren, a 180 g mouse" in said(
        answer
    )
    action, fields = form_of(answer.text)
    assert fields["prey_mass_g"] == "170 g"
    assert here.post(action, data=fields).status_code == 303


def test_the_screen_of_a_meal_leads_to_both(here: TestClient) -> None:
    text = here.get("/meal/3").text
    assert 'href="/write/outcome?meal=3"' in text
    assert 'href="/meal/3/correct"' in text
