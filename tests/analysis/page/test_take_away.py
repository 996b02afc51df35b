"""What a keeper takes away from the page: files, their names, and cells that nothing runs."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from email.message import Message
from pathlib import Path
from urllib.parse import quote
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from starlette.testclient import TestClient

from analysis.page import apart
from analysis.page.apart import NotMadeError, made_apart
from analysis.page.taking import file_name, harmless, kept_as
from collector.book.book import Book
from collector.book.records import Enclosure
from collector.exchange import import_file
from collector.store.sqlite_archive import SqliteArchive
from config.errors import NotSo
from config.home import Home
from config.settings import load_settings
from tests.analysis.page.conftest import Asks
from tests.analysis.page.homes import NOW, make_home


def name_of(disposition: str) -> str | None:
    """The file's name by another parser: email.message knows RFC 2231, which RFC 5987 takes up."""
    message = Message()
    kind, rest = disposition.split("; ", 1)
    message["content-disposition"] = f"{kind}; {rest[rest.index('filename*=') :]}"
    return message.get_filename()


def rows_of(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


# ---- the paper for the vet -------------------------------------------------------------------


def test_the_form_asks_for_the_last_year(page: TestClient) -> None:
    said = page.get("/animal/Maren/for-the-vet").text
    assert 'name="from" type="date" value="2025-04-02"' in said
    assert 'name="to" type="date" value="2026-04-02"' in said
    assert page.get("/animal/Nobody/for-the-vet").status_code == 404


def test_the_paper_is_made_in_a_process_of_its_own(page: TestClient) -> None:
    answer = page.get("/animal/Maren/for-the-vet.pdf?from=2026-03-01&to=2026-04-02")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert name_of(answer.headers["content-disposition"]) == "Maren for the vet 2026-04-02.pdf"
    first = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert "Maren, for the vet" in first


def test_a_wrong_period_is_one_line(page: TestClient) -> None:
    for query, why in (
        ("from=2026-04-01&to=2026-03-01", "before it begins"),
        ("from=yesterday", "is not a day"),
        ("from=2001-01-01", "longer than 3 years"),
        ("to=0001-01-01", "lies outside"),
    ):
        answer = page.get(f"/animal/Maren/for-the-vet.pdf?{query}")
        assert answer.status_code == 400, query
        assert why in answer.text, query


def test_what_takes_too_long_or_breaks_is_said(
    quiet_home: Home, page: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(NotMadeError, match="given up"):
        made_apart(quiet_home, "analysis.for_vet", ["--animal=Maren"], ".pdf", limit_s=0.01)
    with pytest.raises(NotMadeError, match="log says why"):
        made_apart(quiet_home, "analysis.page.apart", [], ".pdf")  # ends well, makes nothing
    with pytest.raises(NotSo, match="no meal 99"):
        made_apart(quiet_home, "analysis.meal_picture", ["--meal=99", f"--now={NOW}"], ".png")
    monkeypatch.setattr(apart, "_WAIT_SECONDS", 0.01)
    with apart._ONE_AT_A_TIME:
        answer = page.get("/animal/Maren/for-the-vet.pdf")
    assert answer.status_code == 503
    assert "still being made" in answer.text


def test_the_page_loads_no_matplotlib() -> None:
    code = "import sys, analysis.page.app; from analysis.page.finding import routers; list(routers()); print('matplotlib' in sys.modules)"  # noqa: E501
    found = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert found.stdout.strip() == "False"


# ---- files -----------------------------------------------------------------------------------


def test_the_records_go_back_in(page: TestClient, home: Home, tmp_path: Path) -> None:
    settings = load_settings(home)
    for kind in ("meals", "weights", "handling", "sheds", "enclosures"):
        answer = page.get(f"/take-away/{kind}.csv")
        assert answer.headers["content-type"] == "text/csv; charset=utf-8"
        file = tmp_path / f"{kind}.csv"
        file.write_bytes(answer.content)
        with Book(home.book, now_ms=lambda: NOW) as book:
            before = len(book.history())
            archive = SqliteArchive(home.archive)
            import_file(kind, file, book=book, archive=archive, settings=settings)
            archive.close()
            assert len(book.history()) == before, f"{kind}: the same file changes nothing"


def test_texts_are_as_entered_to_import_and_harmless_in_a_spreadsheet(
    home: Home, asks: Asks
) -> None:
    with Book(home.book, now_ms=lambda: NOW) as book:
        book.put(Enclosure("=1+1", room="@home", notes='-2 "steps"\tdown'))
    page = asks(home)
    as_entered = rows_of(page.get("/take-away/enclosures.csv").text)
    assert ["=1+1", "@home", '-2 "steps"\tdown'] in as_entered
    harmless_too = rows_of(page.get("/take-away/enclosures.csv?for=spreadsheet").text)
    assert ["'=1+1", "'@home", '\'-2 "steps"\tdown'] in harmless_too


def test_the_reviews_are_those_of_the_api(page: TestClient) -> None:
    head, *rows = rows_of(page.get("/take-away/reviews.csv").text)
    judged = page.get("/api/reviews").json()
    assert len(rows) == len(judged) == 3
    for row, one in zip(rows, judged, strict=True):
        found = dict(zip(head, row, strict=True))
        assert int(found["meal"]) == one["meal"]
        assert found["verdict"] == one["verdict"]
        assert float(found["warm_side_min_c"]) == pytest.approx(one["warm_side"]["min_c"], abs=1e-4)
        hours = one["warm_side"]["below"][0]["hours"]
        assert float(found["below_28c_hours"]) == pytest.approx(hours, abs=1e-4)


def test_the_readings_of_a_meal(page: TestClient) -> None:
    answer = page.get("/meal/2/readings.csv")
    assert name_of(answer.headers["content-disposition"]) == "Maren meal 2 readings.csv"
    head, *rows = rows_of(answer.text)
    assert head == ["time", "probe", "quantity", "value", "unit"]
    series = {(probe, quantity) for _, probe, quantity, _, _ in rows}
    assert series == {("warm", "temperature"), ("cool", "temperature"), ("cool", "humidity"),
                      ("room", "temperature")}  # fmt: skip
    every_five_minutes = 72 * 12 - 3 * 12
    assert len(rows) == 4 * every_five_minutes
    assert min(row[0] for row in rows) >= "2026-03-15T21:39:00"


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_plot(page: TestClient, kind: str) -> None:
    answer = page.get(f"/meal/2/plot.{kind}")
    assert answer.status_code == 200
    if kind == "png":
        assert answer.content.startswith(b"\x89PNG\r\n\x1a\n")
    else:
        assert "came back after 72 h" in answer.text
    assert page.get(f"/meal/99/plot.{kind}").status_code == 404
    assert page.get("/meal/2/plot.exe").status_code == 422


def test_the_ribbon_is_an_svg_by_itself(page: TestClient) -> None:
    answer = page.get("/meal/2/ribbon.svg")
    root = ET.fromstring(answer.text)  # noqa: S314  # our own
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert name_of(answer.headers["content-disposition"]) == "Maren meal 2 2026-03-15.svg"


def test_everything_is_linked(page: TestClient) -> None:
    said = page.get("/take-away").text
    for path in ("/take-away/reviews.csv", "/take-away/meals.csv", "/animal/Maren/for-the-vet"):
        assert f'href="{path}"' in said
        assert page.get(path).status_code == 200
    meal = page.get("/meal/2").text
    for what in ("plot.png", "plot.svg", "ribbon.svg", "readings.csv"):
        assert f'href="/meal/2/{what}"' in meal
    assert page.get("/take-away/secrets.csv").status_code == 404


# ---- hostile names ---------------------------------------------------------------------------


def test_a_hostile_name_is_only_a_name(tmp_path: Path, asks: Asks) -> None:
    name = "a/b ../<b>=1 „Ä“"
    page = asks(make_home(tmp_path / "home", name=name))
    listed = page.get("/take-away").text
    path = f"/animal/{quote(name, safe='')}/for-the-vet"
    assert "<b>" not in listed
    said = page.get(path)
    assert said.status_code == 200
    assert "<b>" not in said.text
    answer = page.get("/meal/2/readings.csv")
    kept = name_of(answer.headers["content-disposition"])
    assert kept == "a-b ..-b-=1 „Ä“ meal 2 readings.csv"


@given(st.text(max_size=200))
def test_no_name_leaves_its_folder_or_its_header(text: str) -> None:
    kept = file_name(f"{text}.pdf")
    assert kept.endswith(".pdf")
    assert not set(kept) & set('/\\:*?"<>|%;\r\n\0')
    assert kept not in (".pdf", "..pdf")
    header = kept_as(f"{text}.pdf")["content-disposition"]
    assert header.isascii()
    assert header.isprintable()
    assert name_of(header) == kept


@given(st.text(alphabet=st.sampled_from("=+-@1234567890.eE\t\r'abcＡ＝ "), max_size=12))
def test_no_cell_begins_as_a_formula(text: str) -> None:
    cell = harmless(text)
    assert cell.removeprefix("'") == text.removeprefix("'") or cell == text
    if cell[:1] in ("=", "+", "-", "@", "\t", "\r", "＝"):
        float(cell)  # only a number may
