"""One animal on the page, and all of them in a list: whatever they are called, fed or not."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from analysis.figures.round_steps import round_steps
from analysis.figures.weights_svg import month_starts, weights_svg
from analysis.page.access.passphrase import PassphraseFile
from analysis.page.addresses import animal_path
from analysis.weights import Weight
from analysis.words import local_day_of
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Dropping,
    Look,
    Meal,
    Outcome,
    Ribs,
    Shed,
    Signs,
    Spine,
    Stay,
    Tail,
    Urate,
    Weighing,
)
from config.home import Home
from config.settings import Settings, Show
from tests.analysis.page.conftest import Asks
from tests.analysis.page.forms import come_in
from tests.analysis.page.homes import BY_HAND, DAY, FIRST, HOUR, NOW, SECOND
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.test_meal import text_of

LISBON = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def maren(page: TestClient) -> str:
    return page.get("/animal/Maren").text


def section(html: str, name: str) -> str:
    """What is read in one section of the screen."""
    start = html.index(f'<h2 id="{name}"')
    return text_of(html[start : html.index("</section>", start)])


def test_sentences_come_first(maren: str) -> None:
    assert "Boa constrictor, female. Lives in left shelf, back room." in text_of(maren)
    assert "In shed, no meal until the skin is off" in section(maren, "next")
    assert "900 g, weighed 34 days ago" in section(maren, "condition")
    assert "left shelf, back room: since Thu 26 Feb 2026, 21:39" in section(maren, "lives")
    assert "In shed since Tue 17 Mar 2026" in section(maren, "seen")


def test_its_meals_stand_newest_first_each_with_its_ending_and_its_screen(maren: str) -> None:
    meals = maren[maren.index('id="meals"') : maren.index('id="seen"')]
    assert re.findall(r'href="(/meal/\d+)"', meals) == ["/meal/3", "/meal/2", "/meal/1"]
    assert meals.count('class="ribbon"') == 2 * 3, "for a wide and for a narrow screen"
    for words in ("day 4 of about", "came back after 72 h", "kept, passed day 10"):
        assert words in meals, words
    assert "The warm side was cool." in meals


def test_all_ribbons_are_on_one_scale(maren: str) -> None:
    """A day is as long in each of them: the ticks of the days stand at the same places."""
    drawn = re.findall(r'<svg[^>]*class="ribbon".*?</svg>', maren)
    ticks_of = [re.findall(r'class="ribbon-tick" x1="([\d.]+)"', one) for one in drawn]
    assert len(ticks_of[0]) == 15
    assert all(one in (ticks_of[0], ticks_of[1]) for one in ticks_of)


def test_the_list_leads_to_each(page: TestClient) -> None:
    text = page.get("/animals").text
    assert 'href="/animal/Maren"' in text
    assert 'href="/animal/Ondo"' in text
    assert "never fed, as far as the book knows" in text_of(text)
    assert 'href="/animals"' in page.get("/").text, "it stands at the top of every page"


def test_one_that_was_never_fed(page: TestClient) -> None:
    said = text_of(page.get("/animal/Ondo").text)
    assert "No meal in the book yet, and nothing speaks against one today" in said
    assert "It was never fed, as far as the book knows." in said


def test_one_of_which_nothing_is_known(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Animal("Pell"))
    said = text_of(asks(home).get("/animal/Pell").text)
    for words in (
        "Where it lives is not in the book.",
        "never weighed",
        "Nobody has written down a look at it",
        "It was never fed",
        "No shed of it is in the book.",
    ):
        assert words in said, words


def test_one_that_is_not_there_is_said(page: TestClient) -> None:
    answer = page.get("/animal/Nobody")
    assert answer.status_code == 404
    assert "there are: Maren, Ondo" in text_of(answer.text)
    assert page.get("/animal/").status_code == 404
    assert page.get("/animal").status_code == 422
    assert page.get("/animal/Maren?meals=0").status_code == 422


def test_one_that_was_taken_out_of_the_book_is_not_there_either(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Animal("Pell"))
        book.remove(Animal("Pell"))
    page = asks(home)
    assert page.get("/animal/Pell").status_code == 404
    assert "Pell" not in page.get("/animals").text


@pytest.mark.parametrize(
    "name",
    [
        EVIL, "Ma ren", "//evil", "..", "../x", "a?b=c&d#e", "100 % Ören", "蛇 一号 سَلمى 🐍",
        "a\\b+c", "x" * 128,
    ],
)  # fmt: skip
def test_any_name_has_a_screen(home: Home, asks: Asks, name: str) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Animal(name))
        book.put(Stay(name, "right shelf", BY_HAND))
        book.put(Meal(0, name, offered_at_ms=SECOND, prey="mouse", outcome=Outcome.REFUSED))
    page = asks(home)
    links = [
        attributes["href"] or ""
        for tag, attributes in elements(page.get("/animals").text)
        if tag == "a" and attributes.get("class") == "name"
    ]
    assert animal_path(name) in links
    answer = page.get(animal_path(name))
    assert answer.status_code == 200
    (title,) = re.findall(r"<h1>(.*?)</h1>", answer.text)
    assert "<" not in title
    assert "refused a mouse (mass not known)" in text_of(answer.text)
    for tag, attributes in elements(answer.text):
        assert not any(key.startswith("on") or key == "style" for key in attributes), tag
        assert tag not in ("img", "iframe", "style"), tag


def test_five_hundred_meals_are_paged(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book, book.transaction():
        for number in range(500):
            at_ms = FIRST - (number + 1) * DAY
            book.put(Meal(0, "Ondo", taken_at_ms=at_ms, prey="mouse", outcome=Outcome.KEPT))
    page = asks(home)
    first = page.get("/animal/Ondo").text
    assert "Meals 1 to 20 of 500" in text_of(first)
    assert 'href="/animal/Ondo?meals=2#meals"' in first
    assert "Newer meals" not in first
    last = page.get("/animal/Ondo?meals=25").text
    assert "Meals 481 to 500 of 500" in text_of(last)
    assert "Older meals" not in last
    assert page.get("/animal/Ondo?meals=99").text == last, "there are no more than that"
    second = page.get("/animal/Ondo?meals=2").text
    shown = re.findall(r'href="/meal/(\d+)"', first + second + last)
    assert len(shown) == len(set(shown)) == 60


def test_what_is_for_a_vet_is_loud_and_what_was_seen_is_told(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Dropping("Maren", NOW - DAY, urate=Urate.MISSING, signs=Signs.BLOOD))
        book.put(
            Look("Maren", NOW - 2 * DAY, Spine.SHARP, Ribs.SEEN, tail=Tail.TAPERING, notes=EVIL)
        )
        book.put(Shed("Maren", NOW - 3 * DAY))
    text = asks(home).get("/animal/Maren").text
    urgent = text[text.index('class="urgent"') : text.index('id="next"')]
    assert "Blood in the droppings of" in urgent
    assert "It is not veterinary advice" in urgent
    seen = section(text, "seen")
    assert "It shed last on Mon 30 Mar 2026" in seen
    assert "droppings, without the white urate, blood in them" in seen
    assert "looked thin: spine sharp, ribs seen" in seen
    assert "<script>alert" not in text


# ---- the chart of its weights ----------------------------------------------------------------


def weighed(
    *grams: float, every_ms: int = 30 * DAY, fed: frozenset[int] = frozenset()
) -> list[Weight]:
    return [Weight(FIRST + n * every_ms, g, n in fed) for n, g in enumerate(grams)]


def test_the_chart_has_every_weighing_and_its_end_is_named(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Weighing("Ondo", NOW - DAY, mass_g=1040.0))
        book.put(Weighing("Ondo", NOW - 20 * DAY, mass_g=980.0))
    text = asks(home).get("/animal/Ondo").text
    (wide, _) = re.findall(r'<svg[^>]*class="plot weights".*?</svg>', text)
    assert wide.count("<circle") == 3
    assert "1,040 g</text>" in wide
    assert "Ondo: three weighings, 900 g on" in wide
    assert "style=" not in wide


def test_a_meal_inside_is_an_open_point_off_the_line() -> None:
    svg = weights_svg(weighed(900, 1100, 920, fed=frozenset({1})), Settings(), "Maren")
    assert svg.count('class="weight-fed"') == 1
    assert svg.count('class="weight-empty"') == 2
    (line,) = re.findall(r' d="M([^"]+)"', svg)
    assert line.count("L") == 1, "from the first weighing to the third"
    assert "a meal inside" in svg


@pytest.mark.parametrize("count", [1, 2, 3, 5000])
@pytest.mark.parametrize("width", [350.0, 860.0])
def test_everything_stays_inside_the_chart(count: int, width: float) -> None:
    settings = Settings(show=Show(mass="oz"))
    masses = weighed(*(700 + 300 * (n % 7) for n in range(count)), every_ms=DAY // 4)
    svg = weights_svg(masses, settings, "Maren", width=width, height=200)
    across = [float(x) for x in re.findall(r'\b(?:x|x1|x2|cx)="([-\d.]+)"', svg)]
    down = [float(y) for y in re.findall(r'\b(?:y|y1|y2|cy)="([-\d.]+)"', svg)]
    assert min(across) >= 0
    assert max(across) <= width
    assert min(down) >= 0
    assert max(down) <= 200
    assert len(svg) < 300_000, "however often it was weighed"


@given(st.floats(0.01, 1e6))
def test_the_masses_of_the_axis_are_round_and_few(highest: float) -> None:
    found = round_steps(highest)
    assert 2 <= len(found) - 1 <= 5
    assert found[-1] <= highest
    assert all(one == pytest.approx(float(f"{one:.1e}")) for one in found)


@given(st.integers(0, 4_000), st.integers(0, 9_000), st.integers(2, 12))
def test_the_months_of_the_axis_begin_on_their_first_day(at: int, days: int, most: int) -> None:
    start, end = FIRST + at * DAY + HOUR, FIRST + (at + days) * DAY + HOUR
    found = month_starts(start, end, LISBON, most)
    assert 1 <= len(found) <= most
    if found[0][0] != start:
        assert all(local_day_of(round(at_ms), LISBON).day == 1 for at_ms, _ in found)
    assert all(start <= at_ms <= end for at_ms, _ in found)


def test_age_is_said(home: Home, asks: Asks) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(replace(book.animal("Maren"), born=date(2021, 5, 30)))
    assert "4 years old" in text_of(asks(home).get("/animal/Maren").text)


def test_who_has_to_say_the_pass_phrase_first_is_led_back_to_the_animal(
    home: Home, asks: Asks
) -> None:
    name = "a?b/c#d ü"
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Animal(name))
    PassphraseFile(home.folder).set("four warm sleeping coils")
    page = asks(home)
    door = page.get(animal_path(name)).headers["location"]
    assert door.startswith("/enter?to=")
    (to,) = re.findall(r'name="to" value="([^"]*)"', page.get(door).text)
    assert come_in(page, "four warm sleeping coils", to) == 303
    assert page.get(to).status_code == 200
    assert "a?b/c#d ü</h1>" in page.get(to).text


def test_the_screen_of_a_meal_leads_to_its_animal(page: TestClient) -> None:
    assert 'href="/animal/Maren"' in page.get("/meal/2").text
