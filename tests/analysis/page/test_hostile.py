"""Nothing in a name or a note can become script; nothing on the page leads to another host."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.testclient import TestClient

from analysis.page.assets import FOLDER as STATIC
from analysis.page.showing import FOLDER as TEMPLATES
from collector.book.book import Book
from collector.book.records import Animal, Enclosure, Placement, Stay, Zone
from config.home import Home
from tests.analysis.page.conftest import Asks
from tests.analysis.page.homes import BY_HAND, NOW, make_home

EVIL = '"><script>alert(1)</script><img src=x onerror=alert(1)>{{7*7}}</title></svg>'
WRITING = (
    "/write/meal", f"/write/meal?{urlencode({'animal': EVIL})}", "/meal/2/correct",
    "/write/outcome", "/write/outcome?meal=3", "/write/look?animal=Ondo", "/written/1",
)  # fmt: skip
SCREENS = (
    "/", "/meal/1", "/meal/2", "/meal/3", "/animals", "/animal/Ondo", "/probes", "/alarms",
    "/enter", f"/{EVIL}", *WRITING,
)  # fmt: skip


class Elements(HTMLParser):
    """Every element of a page with its attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def elements(html: str) -> list[tuple[str, dict[str, str | None]]]:
    parser = Elements()
    parser.feed(html)
    return parser.found


@pytest.fixture(scope="session")
def hostile_home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Every name and note would like to be script."""
    home = make_home(tmp_path_factory.mktemp("hostile") / "home", name=EVIL)
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Enclosure(EVIL, room=EVIL, notes=EVIL))
        book.put(Animal("Ondo"))
        book.put(Stay("Ondo", EVIL, NOW - 1000))
        book.put(Placement(EVIL, EVIL, Zone.WARM_SIDE, BY_HAND))
        for meal in book.meals():
            book.put(replace(meal, notes=EVIL, prey=EVIL))
    return home


@pytest.mark.parametrize("path", SCREENS)
def test_no_name_becomes_script(hostile_home: Home, asks: Asks, path: str) -> None:
    answer = asks(hostile_home).get(path)
    for tag, attributes in elements(answer.text):
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)
        assert "style" not in attributes, (tag, attributes)
        assert tag not in ("iframe", "object", "embed", "base", "img", "style"), tag
        if tag == "script":
            assert (attributes.get("src") or "").startswith("/static/")


def test_the_names_themselves_are_shown(hostile_home: Home, asks: Asks) -> None:
    text = asks(hostile_home).get("/meal/2").text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert "{{7*7}}" in text, "shown as it stands, not worked out"


@pytest.mark.parametrize("path", SCREENS)
def test_no_script_stands_in_a_page(page: TestClient, path: str) -> None:
    text = page.get(path).text
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>", text)
    assert not re.search(r"<script[^>]*>[^<]", text)


@pytest.mark.parametrize("path", SCREENS)
def test_everything_a_page_loads_or_leads_to_is_here(page: TestClient, path: str) -> None:
    for tag, attributes in elements(page.get(path).text):
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            value = attributes.get(name)
            if value is not None:
                assert re.match(r"(/(?!/)|#)", value), (tag, name, value)


def our_files() -> list[Path]:
    return [
        path
        for path in [*TEMPLATES.iterdir(), *STATIC.iterdir()]
        if path.suffix in (".html", ".css", ".js", ".svg")
    ]


@pytest.mark.parametrize("path", our_files(), ids=lambda path: path.name)
def test_none_of_our_files_names_another_host(path: Path) -> None:
    text = path.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"(?:https?:)?//[a-z0-9-]+\.[a-z]", text, re.IGNORECASE)
    assert "@import" not in text
    assert "|safe" not in text.replace(" ", "")


def test_the_files_are_kept_for_good_under_their_digest(page: TestClient) -> None:
    for tag, attributes in elements(page.get("/meal/2").text):
        address = attributes.get("src") if tag == "script" else attributes.get("href")
        if address is None or not address.startswith("/static/"):
            continue
        answer = page.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]
        other = re.sub(r"/static/[0-9a-f]+/", "/static/0000000000/", address)
        assert page.get(other).status_code == 404


@pytest.mark.parametrize("name", ["../app.py", "..%2fapp.py", "%2e%2e/app.py", "page.css/..", "x"])
def test_no_other_file_is_served(page: TestClient, name: str) -> None:
    assert page.get(f"/static/0000000000/{name}").status_code == 404
