"""All meals together: what is shown at once, what is worked out beside, and how it is drawn."""

from __future__ import annotations

import html
import math
import re
import subprocess
import sys
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from analysis import all_meals
from analysis.all_meals import find, keep, kept, kept_at, lock_of
from analysis.figures.outcomes_svg import LANES, Point, outcomes_svg
from analysis.figures.round_steps import round_steps
from analysis.pattern import pattern_of_book
from analysis.pattern_words import sentences
from analysis.review_row import ReviewRow
from collector.book.book import Book
from collector.book.records import Enclosure, Outcome
from collector.store.reader import Reader
from config.care import load_care_profile
from config.home import Home
from config.settings import load_settings
from tests.analysis.page.conftest import Asks, Clock
from tests.analysis.page.forms import token_on
from tests.analysis.page.homes import DAY, FIRST, HOUR, NOW, make_home
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.test_meal import text_of


@pytest.fixture(scope="session")
def judged_home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home whose meals have been judged, once for all; nobody writes in it."""
    home = make_home(tmp_path_factory.mktemp("together") / "home", name=EVIL)
    find(home, NOW)
    return home


@pytest.fixture
def judged(judged_home: Home, asks: Asks) -> TestClient:
    return asks(judged_home)


def until_done(page: TestClient) -> str:
    """The screen once what is worked out beside is done."""
    until = time.monotonic() + 180
    while "Look again" in (text := page.get("/together").text):
        assert time.monotonic() < until
        time.sleep(0.2)
    return text


def test_the_first_look_begins_a_process_that_ends(home: Home, asks: Asks) -> None:
    page = asks(home)
    said = text_of(until_done(page))
    assert "3 meals: 1 came back, 1 stayed down, of 1 it is not known yet." in said
    assert "2 meals of 1 animal with a known outcome; 1 came back: 50 %; 9 to 91 %." in said
    assert "That two things go together does not say that one brings the other." in said
    assert "Worked out just now" in said


def test_it_says_what_the_command_line_says(judged_home: Home, judged: TestClient) -> None:
    settings, care = load_settings(judged_home), load_care_profile("boa-constrictor")
    with (
        Book(judged_home.book, read_only=True) as book,
        Reader(judged_home.journal, judged_home.archive) as reader,
    ):
        lines = sentences(pattern_of_book(book, reader, care, settings, NOW), settings)
    said = html.unescape(text_of(judged.get("/together").text)).lower()
    assert len(lines) > 3
    for line in lines:
        assert line.removeprefix("- ").lower() in said, line


def test_the_page_loads_no_statistics(judged_home: Home) -> None:
    """They stay with the process that ends."""
    code = f"""
import sys
from pathlib import Path
from starlette.testclient import TestClient
from analysis.page.app import create_app
from config.home import Home
app = create_app(Home(Path({str(judged_home.folder)!r})), now_ms=lambda: {NOW})
with TestClient(app, base_url="http://127.0.0.1:8750", client=("127.0.0.1", 5000)) as page:
    assert page.get("/together").status_code == 200
    assert page.get("/animals").status_code == 200
    assert page.get("/animal/Ondo").status_code == 200
print(sorted({{"scipy", "pandas", "statsmodels", "firthmodels", "matplotlib"}} & set(sys.modules)))
"""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert done.stdout.strip() == "[]"


def test_every_meal_is_a_mark_told_by_shape_lane_and_word(judged: TestClient) -> None:
    text = judged.get("/together").text
    (wide, narrow) = re.findall(r'<svg[^>]*class="plot outcomes".*?</svg>', text)
    for drawn in (wide, narrow):
        assert drawn.count('class="mark-back"') == 1
        assert drawn.count('class="mark-down"') == 1
        assert drawn.count('class="mark-open"') == 1
        for lane in LANES:
            assert f"{lane}: 1</text>" in drawn
    assert "style=" not in text
    assert "<script>" not in text
    for tag, attributes in elements(text):
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)


def test_the_table_has_the_figures(judged: TestClient) -> None:
    said = text_of(judged.get("/together").text)
    assert "Meal 2" in said
    assert "72 h, outcome; 96 % known" in said
    assert "cool" in said
    assert "regurgitated" in said
    assert re.search(r"longest \d+ h; \d+ °C·h", said)
    assert "not known yet" in said


def test_it_is_filtered_by_animal_and_days(judged: TestClient) -> None:
    def shown(**asked: str) -> list[str]:
        text = judged.get("/together", params=asked).text
        return re.findall(r'href="/meal/(\d+)"', text)

    assert shown() == ["3", "2", "1"]
    assert shown(animal=EVIL) == ["3", "2", "1"]
    assert shown(animal="Ondo") == []
    assert shown(first="2026-03-15") == ["3", "2"], "the home's days: it was taken at 21:39"
    assert shown(first="2026-03-15", last="2026-03-15") == ["2"]
    assert shown(last="2026-03-14") == ["1"]
    assert shown(order="coldest")[0] == "2"
    none = text_of(judged.get("/together", params={"animal": "Ondo"}).text)
    assert "No meal was taken there." in none
    assert "This is of the whole book, whatever is asked for above" in none


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ({"first": "soon"}, 400), ({"last": "2026-02-30"}, 400), ({"first": "9999-12-31"}, 400),
        ({"animal": "Nobody"}, 404), ({"page": "0"}, 422), ({"order": "warm"}, 422),
        ({"page": "77"}, 200), ({"first": "2026-04-01", "last": "2026-01-01"}, 200),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_for_is_said(
    judged: TestClient, asked: dict[str, str], status: int
) -> None:
    answer = judged.get("/together", params=asked)
    assert answer.status_code == status
    assert "Traceback" not in answer.text


def test_a_change_of_the_book_renews_it_and_the_old_is_shown_meanwhile(
    home: Home, asks: Asks
) -> None:
    find(home, NOW)
    page = asks(home)
    assert "Look again" not in page.get("/together").text
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(replace(book.meal(3), outcome=Outcome.KEPT, outcome_at_ms=NOW - HOUR))
    at_once = text_of(page.get("/together").text)
    assert "being worked out anew; what stands here is of" in at_once
    assert "of 1 it is not known yet" in at_once
    find(home, NOW)
    assert "3 meals: 1 came back, 2 stayed down." in text_of(page.get("/together").text)


def test_hours_go_by_and_a_meal_goes_on(home: Home, asks: Asks, clock: Clock) -> None:
    find(home, NOW)
    page = asks(home)
    clock.past_s = 3500
    assert "Look again" not in page.get("/together").text
    clock.past_s = 3700
    assert "Look again" in page.get("/together").text


def test_it_is_worked_out_again_when_asked(home: Home, asks: Asks) -> None:
    find(home, NOW)
    before = kept(home)
    assert before is not None
    keep(home, replace(before, pattern=("Something that was once found.",)))
    page = asks(home)
    assert "Something that was once found." in page.get("/together").text
    token = token_on(page, "/together")
    answer = page.post("/together/again", data={"form_token": token, "to": "order=coldest"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/together?order=coldest"
    assert "being worked out anew" in page.get("/together").text
    assert page.post("/together/again", data={"to": ""}).status_code == 403, "without its token"


def test_one_that_is_at_work_is_not_disturbed(home: Home) -> None:
    """A second process ends at once, and leaves the file alone."""
    lock = lock_of(home)
    assert lock.take()
    try:
        assert all_meals.main(["--home", str(home.folder), "--now", str(NOW)]) == 0
    finally:
        lock.release()
    assert kept(home) is None


def test_what_cannot_be_judged_is_said_in_one_line_and_not_tried_at_every_look(
    home: Home, asks: Asks
) -> None:
    home.archive.write_bytes(b"this was an archive" * 300)
    code = all_meals.main(["--home", str(home.folder), "--now", str(NOW)])
    assert code == 3
    found = kept(home)
    assert found is not None
    assert found.fault is not None
    assert "archive" in found.fault
    assert "\n" not in found.fault
    answer = asks(home).get("/together")
    assert answer.status_code == 503, "nor can the page read it"
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("text", ["", "{", "[]", '{"form": 0}', '{"form": 1}', "\x00\xff"])
def test_a_damaged_file_is_as_none(home: Home, text: str) -> None:
    kept_at(home).write_text(text, encoding="utf-8")
    assert kept(home) is None


def test_what_was_kept_is_read_back(judged_home: Home) -> None:
    found = kept(judged_home)
    assert found is not None
    assert found.whole
    assert [one.meal for one in found.rows] == [1, 2, 3]
    keep(judged_home, found)
    assert kept(judged_home) == found


def test_an_empty_book_has_nothing_to_compare(tmp_path: Path, asks: Asks) -> None:
    home = make_home(tmp_path / "home")
    with Book(home.book, now_ms=lambda: NOW) as book:
        for meal in book.meals():
            book.remove(meal)
        book.put(Enclosure("empty"))
    find(home, NOW)
    said = text_of(asks(home).get("/together").text)
    assert "No meal has been eaten yet" in said
    assert "there is nothing to compare" in said


# ---- the table's pages, and the plot with many meals ------------------------------------------


def row(number: int, cold_h: float | None, outcome: str | None) -> ReviewRow:
    return ReviewRow(
        meal=number, animal="Maren", prey="a rat", taken_at_ms=FIRST - number * DAY, window_h=96.0,
        ended_by="complete", known_share=0.9, probed=True, warm_low_c=25.0, warm_mean_c=30.0,
        warm_high_c=32.0, cool_low_c=None, cool_high_c=None, floor_c=28.0, below_h=cold_h,
        below_if_cold_h=cold_h, degree_h=3.0, longest_h=cold_h, verdict="cool", possible="cool",
        outcome=outcome,
    )  # fmt: skip


def test_fifteen_hundred_meals_are_paged_and_all_drawn(home: Home, asks: Asks) -> None:
    find(home, NOW)
    found = kept(home)
    assert found is not None
    outcomes = ("passed", "kept", "regurgitated", "passed", None)
    rows = [row(n, (n * 37 % 900) / 9 if n % 3 else 0.0, outcomes[n % 5]) for n in range(1, 1501)]
    keep(home, replace(found, rows=(*rows, row(1501, None, "passed"))))
    text = asks(home).get("/together").text
    assert "Meals 1 to 50 of 1,501" in text_of(text)
    assert "Not drawn: 1," in text
    (wide, _) = re.findall(r'<svg[^>]*class="plot outcomes".*?</svg>', text)
    assert len(re.findall(r'class="mark-', wide)) == 1500
    assert 'href="/together?page=2#table"' in text


@given(
    st.lists(
        st.tuples(
            st.one_of(st.just(0.0), st.floats(0.001, 336.0)), st.sampled_from(LANES)
        ),
        min_size=1, max_size=120,
    ),
    st.sampled_from([350.0, 860.0]),
)  # fmt: skip
def test_every_mark_is_inside_and_in_its_order(
    meals: list[tuple[float, str]], width: float
) -> None:
    points = [Point(hours, lane, f"{hours:.6f}") for hours, lane in meals]  # type: ignore[arg-type]
    svg = outcomes_svg(points, "the floor", "all", width=width)
    height = float(re.findall(r'height="([\d.]+)"', svg)[0])
    place = r'(?:d="M|cx="|x=")([-\d.]+)(?:" c?y="| )([-\d.]+)'
    marks = re.findall(rf'class="mark-\w+" {place}.*?<title>([\d.]+)<', svg)
    assert len(marks) == len(points)
    assert all(0 <= float(x) <= width and 0 <= float(y) <= height for x, y, _ in marks)
    assert height < 460
    by_hours = sorted((float(hours), float(x)) for x, _, hours in marks)
    slack = 9.0
    cold = [x for hours, x in by_hours if hours > 0]
    assert all(b - a > -slack for a, b in pairwise(cold))
    if cold:
        assert all(x < min(cold) + slack for hours, x in by_hours if hours <= 0)


@given(st.floats(0.001, 1e7), st.integers(3, 9))
def test_round_steps_are_few_and_reach_far(highest: float, most: int) -> None:
    found = round_steps(highest, most)
    assert found[0] == 0.0
    assert 1 <= len(found) - 1 <= most
    assert found[-1] <= highest < found[-1] + found[1] * (1 + 1e-9)
    assert math.isclose(found[1], float(f"{found[1]:.0e}"))
