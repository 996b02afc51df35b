"""One meal on the page: what is said, what is drawn, what the script is handed."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from analysis.exposure import line_of
from analysis.page.plot import Look, plot_json
from config.care import load_care_profile
from config.settings import Settings, Show
from tests.analysis.meals import gathered
from tests.analysis.page.homes import SECOND

HOUR = 3_600_000
CARE = load_care_profile("boa-constrictor")


def text_of(html: str) -> str:
    """What is read on a page, without its marks."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.fixture
def meal(page: TestClient) -> str:
    return page.get("/meal/2").text


def test_it_is_readable_before_any_script(meal: str) -> None:
    said = text_of(meal)
    assert "Maren took a 180 g rat on Sun 15 Mar 2026 at 21:39" in said
    assert "came back after 72 h" in said
    assert "The warm side was cool" in said
    assert "proves nothing about where it lay" in said
    assert "Digestion, by the model" in said
    assert meal.count('class="plot"') == 2, "drawn for a wide and for a narrow screen"
    assert meal.count('class="ribbon"') == 2


def test_the_still_plot_shows_what_happened(meal: str) -> None:
    still = meal[meal.index('id="plot-still"') : meal.index('id="plot"')]
    for word in ("floor 28.0 °C", "warm side", "cool side", "room", "handled", "in shed"):
        assert word in still, word
    assert "plot-beyond ribbon-below-" in still
    assert 'class="plot-gap"' in still
    assert 'class="plot-midnight"' in still
    assert "style=" not in still


def test_the_factors_stand_with_rule_and_rank(meal: str) -> None:
    said = text_of(meal)
    assert "breaks the rule" in said
    assert "under 6 h at a stretch" in said
    assert "Beside what Maren kept down" in said
    assert "One thing to change" in said


def test_an_offer_that_was_refused_has_nothing_to_judge(page: TestClient) -> None:
    assert page.get("/meal/4").status_code == 404
    assert "warmcoil review lists the meals" in page.get("/meal/4").text
    assert page.get("/meal/0").status_code == 422
    assert page.get("/meal/99999999999999999999999").status_code == 422


def test_the_script_is_handed_the_whole_meal(page: TestClient) -> None:
    plot = page.get("/api/meals/2/plot").json()
    assert [one["name"] for one in plot["tracks"]] == ["warm side", "cool side", "room"]
    assert plot["taken_ms"] == SECOND
    assert plot["span"] == [0.0, 72.0]
    assert plot["unit"] == "°C"
    assert [one["words"] for one in plot["levels"][:2]] == ["floor 28.0 °C", "too hot 36.0 °C"]
    assert {one["word"] for one in plot["events"]} == {"handled", "in shed", "regurgitated"}
    (gap,) = plot["gaps"]
    assert gap[1] - gap[0] == pytest.approx(3 + 5 / 60, abs=0.001)
    assert len(plot["midnights"]) == 3
    assert plot["humidity"]["y"]


def test_a_line_breaks_where_nothing_is_known(page: TestClient) -> None:
    warm = page.get("/api/meals/2/plot").json()["tracks"][0]
    assert warm["y"].count(None) == 1
    at = warm["y"].index(None)
    assert warm["x"][at] is None
    assert warm["x"][at + 1] - warm["x"][at - 1] > 3


def test_a_closer_look_shows_more(page: TestClient) -> None:
    far = page.get("/api/meals/2/plot", params={"columns": 20}).json()
    near = page.get("/api/meals/2/plot", params={"columns": 20, "from": 24, "to": 30}).json()
    within = [x for x in far["tracks"][0]["x"] if x is not None and 24 <= x < 30]
    assert len(near["tracks"][0]["x"]) > 2 * len(within)
    assert near["span"] == [24.0, 30.0]
    refused = page.get("/api/meals/2/plot", params={"from": 30, "to": 24})
    assert refused.status_code == 400


def test_earlier_meals_are_aligned_at_the_meal(page: TestClient) -> None:
    earlier = page.get("/api/meals/3/earlier").json()
    assert [one["meal"] for one in earlier] == [2, 1]
    assert all(one["x"][0] == 0.0 for one in earlier)
    assert "came back after 72 h" in earlier[0]["words"]


@pytest.mark.parametrize("unit", ["Cel", "degF"])
def test_every_dip_of_a_million_readings_is_on_the_plot(unit: str) -> None:
    """A dip of one second somewhere in every hour of twelve days: none is averaged or skipped."""
    start = gathered(None).window.start_ms
    at_ms = list(range(start, start + 12 * 24 * HOUR, 1000))
    assert len(at_ms) > 1_000_000
    value = [31.0] * len(at_ms)
    dips = {hour * 3600 + (hour * 797) % 3600: 20.0 + hour / 100 for hour in range(12 * 24)}
    for index, low in dips.items():
        value[index] = low
    of = gathered(line_of(at_ms, value, 900_000), now_ms=start + 12 * 24 * HOUR)
    settings = Settings(show=Show.model_validate({"temperature": unit}))
    end = of.window.end_ms
    plot = plot_json(of, CARE, settings, Look(start, end, 1000))
    shown = {y for y in plot["tracks"][0]["y"] if y is not None}
    expected = {
        round(low * 1.8 + 32 if unit == "degF" else low, 3)
        for index, low in dips.items()
        if at_ms[index] < end
    }
    assert len(expected) > 100
    assert expected <= shown
    assert len(plot["tracks"][0]["y"]) <= 4 * 1001
