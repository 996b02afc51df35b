"""Weights, handling, sheds, looks and droppings; and the same entries as by the command line."""

from __future__ import annotations

import shutil
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.testclient import TestClient

from analysis.cli import common
from collector.book.book import Book
from collector.book.records import (
    Animal,
    Dropping,
    Handling,
    Look,
    Shed,
    ShedStage,
    Signs,
    Spine,
    Tail,
    Urate,
    Weighing,
)
from config.home import Home
from tests.analysis.cli.writing.keeper import Keeper
from tests.analysis.page.conftest import Asks
from tests.analysis.page.homes import HOUR, NOW
from tests.analysis.page.test_hostile import EVIL, elements
from tests.analysis.page.writing import form_of, said, save, saved, sure_of


@pytest.fixture
def here(home: Home, asks: Asks) -> TestClient:
    return asks(home)


def test_each_kind(home: Home, here: TestClient) -> None:
    saved(here, "/write/weight?animal=Ondo", mass_g="920", length_cm="150cm", midbody_mm="4.3 cm")
    saved(here, "/write/handling?animal=Ondo", minutes="10 min", reason="tub cleaned")
    assert "in shed" in saved(here, "/write/shed?animal=Ondo", stage="in shed", notes="dull")
    saved(here, "/write/look?animal=Ondo", spine="felt", tail="tapering", ago="1 h ago")
    shown = saved(here, "/write/droppings?animal=Maren", urate="white", signs="mucus")
    assert "ask a vet" in shown
    assert "Has meal 3 passed?" in shown
    with Book(home.book, read_only=True) as book:
        assert book.weighings("Ondo")[-1] == Weighing("Ondo", NOW, 920.0, 150.0, 43.0)
        assert book.handlings("Ondo") == [Handling("Ondo", NOW, 10.0, "tub cleaned")]
        assert book.sheds("Ondo") == [Shed("Ondo", NOW, "dull", ShedStage.IN_SHED)]
        assert book.looks("Ondo") == [
            Look("Ondo", NOW - HOUR, spine=Spine.FELT, tail=Tail.TAPERING)
        ]
        assert book.droppings("Maren") == [Dropping("Maren", NOW, Urate.WHITE, Signs.MUCUS)]


@pytest.mark.parametrize(
    ("path", "changed", "field", "why"),
    [
        ("weight", {}, "mass_g", "nothing was measured"),
        ("weight", {"mass_g": "1,830"}, "mass_g", "can be read two ways"),
        ("weight", {"mass_g": "5 stone"}, "mass_g", "is no unit of a mass"),
        ("weight", {"mass_g": "0"}, "mass_g", "cannot be"),
        ("weight", {"mass_g": "9", "length_cm": "\0"}, "length_cm", "is not a length"),
        ("handling", {"minutes": "long"}, "minutes", "is not a time in minutes"),
        ("handling", {"minutes": "25h"}, "minutes", "at most 1440"),
        ("handling", {"reason": "r" * 20_001}, "reason", "20000 are the most"),
        ("look", {}, "spine", "nothing was looked at"),
        ("look", {"ribs": "sharp"}, "ribs", "none of what may be chosen"),
        ("droppings", {"signs": EVIL}, "signs", "none of what may be chosen"),
        ("shed", {"stage": "half"}, "stage", "none of what may be chosen"),
    ],
)  # fmt: skip
def test_what_cannot_be_stands_beside_its_field(
    here: TestClient, path: str, changed: dict[str, str], field: str, why: str
) -> None:
    answer = save(here, f"/write/{path}?animal=Ondo", **changed)
    assert answer.status_code == 422
    assert why in said(answer).lower()
    assert f'id="{field}-fault"' in answer.text
    for tag, attributes in elements(answer.text):
        assert tag != "img"
        assert not any(name.startswith("on") for name in attributes)


def test_an_unlikely_weight_is_asked_about(home: Home, here: TestClient) -> None:
    answer = save(here, "/write/weight?animal=Ondo", mass_g="9000 g")
    assert "9,000 g is 10 times the 900 g of" in said(answer)
    action, fields = form_of(answer.text)
    assert here.post(action, data={**fields, "sure": sure_of(answer)}).status_code == 303
    with Book(home.book, read_only=True) as book:
        assert book.weighings("Ondo")[-1].mass_g == 9000.0


def test_the_same_time_twice_is_said(here: TestClient) -> None:
    saved(here, "/write/weight?animal=Ondo", mass_g="920")
    answer = save(here, "/write/weight?animal=Ondo", mass_g="921")
    assert answer.status_code == 422
    assert "The book has that already: weighing of Ondo" in said(answer)


def test_names_that_would_like_to_be_script(home: Home, here: TestClient) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Animal(EVIL))
    assert "&lt;script&gt;" in here.get("/write/weight").text
    answer = save(here, f"/write/shed?{urlencode({'animal': EVIL})}", notes=EVIL)
    shown = here.get(answer.headers["location"]).text
    assert "{{7*7}}" in shown
    assert not [tag for tag, of in elements(shown) if tag == "img" or (tag == "script" and not of)]


@pytest.mark.parametrize("animal", ["Nobody", "x" * 400, "\0"])
def test_an_animal_that_is_not_there(here: TestClient, animal: str) -> None:
    answer = save(here, "/write/weight?animal=Ondo", animal=animal, mass_g="9")
    assert answer.status_code == 404
    assert "no animal" in said(answer)
    assert here.get("/write/meal", params={"animal": animal}).status_code == 404


def test_entries_are_those_of_the_command_line(
    home: Home, here: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same said in both ways: the same export, line by line."""
    shutil.copytree(home.folder, tmp_path / "typed", ignore=shutil.ignore_patterns("page.*"))
    text = (tmp_path / "typed" / "warmcoil.toml").read_text("utf-8")
    keeper = Keeper(tmp_path / "typed", monkeypatch, now_ms=NOW, settings=text)
    keeper.does("meal Ondo --prey rat --mass 6.3oz --surface 100F --state thawed --in box "
                "--taken 20:05 --offered 20:00 --note", "quick")  # fmt: skip
    keeper.does("meal 4 --outcome regurgitated --signs blood --when 21:00")
    keeper.does("meal 3 --outcome kept")
    keeper.does("meal Maren --prey mouse --refused --offered 21:40 --sure")
    keeper.does("weigh Ondo 31oz --length 60in")
    keeper.does("handle Ondo --minutes 1.5h --reason", "it rained")
    meal = {"prey": "rat", "prey_mass_g": "6.3oz", "prey_surface_c": "100F", "went": "taken",
            "prey_state": "thawed", "fed_in": "box", "notes": "quick"}  # fmt: skip
    saved(here, "/write/meal?animal=Ondo", time="20:05", offered_at="20:00", **meal)
    saved(here, "/write/outcome?meal=4", outcome="regurgitated", signs="blood", time="21:00")
    saved(here, "/write/outcome?meal=3", outcome="kept")
    refused = {"went": "refused", "time": "21:40", "prey": "mouse"}
    saved(here, "/write/meal?animal=Maren", **refused, prey_count="", prey_mass_g="")
    saved(here, "/write/weight?animal=Ondo", mass_g="31oz", length_cm="60in")
    saved(here, "/write/handling?animal=Ondo", minutes="1.5h", reason="it rained")
    typed = Keeper(home.folder, monkeypatch, now_ms=NOW, settings=text)
    monkeypatch.setattr(common, "now_ms", lambda: NOW)
    for kind in ("meals", "weights", "handling"):
        assert keeper.does(f"export {kind}") == typed.does(f"export {kind}")
