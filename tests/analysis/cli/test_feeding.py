"""`next` and `condition` as a keeper runs them, in real processes."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from pathlib import Path

import icalendar
import pytest

from collector.book.book import Book
from collector.book.records import Look, Ribs, Shed, ShedStage, Spine
from tests.analysis.cli.test_commands import FILES, run

AT = "2025-01-11T12:00"
"""Of Juno: 1,500 g on 2 January, a 150 g rat on the 5th, kept; the warm side at 31 °C till then."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("feeding")
    made = folder / "home"
    assert run("init", home=made).returncode == 0
    for kind, text in FILES.items():
        file = folder / f"{kind}.csv"
        file.write_text(text, encoding="utf-8")
        assert run("import", kind, file, home=made).returncode == 0, kind
    return made


def test_next_in_words(home: Path) -> None:
    """10 % at 24 °C: 6.90 days from 5 January 19:00 UTC end on the 12th at 16:38; 7 days on the
    12th. 8-12 % of 1,500 g are 120-180 g. The probe was last heard on the 11th at 05:50."""
    done = run("next", "--at", AT, home=home)
    assert (done.returncode, done.stderr) == (0, "")
    first, *more = done.stdout.splitlines()
    assert first == (
        "Juno: not before Mon 13 Jan (the last meal is only 82 % digested if it lay on the cool "
        "side), then a young rat of 120–180 g; enclosure fit today: not known "
        "(the warm side's probe is not reporting; only "
        "41 h of the last 48 h are known), look for yourself."
    )
    assert all(line.startswith("  ") for line in more)
    assert "(137 h without readings are taken as 24.0 °C or colder)" in more[0]
    assert "  from Sun 12 Jan: 7 to 10 days between meals, 3 years old. [common practice]" in more
    assert "  How wide the prey may be is not known: measure the animal at mid-body." in more


def test_next_as_json(home: Path) -> None:
    done = run("next", "--animal", "Juno", "--json", "--at", AT, home=home)
    (one,) = json.loads(done.stdout)
    assert set(one) == {
        "animal", "enclosure", "at", "last_meal", "earliest", "not_before", "due", "today",
        "waits", "portion", "at_most_g", "fit_today", "condition", "vet", "to_ask", "to_mind",
    }  # fmt: skip
    assert (one["earliest"], one["due"], one["today"]) == ("2025-01-13", "2025-01-15", False)
    assert [wait["rule"] for wait in one["waits"]] == ["digestion", "interval"]
    assert one["portion"]["low_g"] == pytest.approx(120.0)
    assert one["portion"]["width_mm"] is None


def test_condition_in_words_and_as_json(home: Path) -> None:
    said = run("condition", "--at", AT, home=home)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout.startswith(
        "Juno: whether it is thin or heavy is not known; 1,500 g, weighed 9 days ago.\n  "
    )
    (one,) = json.loads(run("condition", "--json", "--at", AT, home=home).stdout)
    assert (one["animal"], one["state"], one["signs"]) == ("Juno", "not known", [])


def test_a_calendar_that_stays_until_the_plan_changes(home: Path, tmp_path: Path) -> None:
    own, file = tmp_path / "home", tmp_path / "meals.ics"
    shutil.copytree(home, own)
    done = run("next", "--ics", file, "--at", AT, home=own)
    assert done.returncode == 0
    assert done.stdout.endswith(f"{file} is up to date\n")
    first = file.read_bytes()
    (event,) = icalendar.Calendar.from_ical(first).walk("VEVENT")
    start: object = event["DTSTART"].dt  # type: ignore[union-attr]
    assert start == date(2025, 1, 13)
    run("next", "--ics", file, "--at", "2025-01-11T18:00", home=own)
    assert file.read_bytes() == first
    with Book(own / "book.db") as book:
        from collector.rfc3339 import parse

        book.put(Shed("Juno", parse("2025-01-11T20:00:00Z"), stage=ShedStage.IN_SHED))
        book.put(Look("Juno", parse("2025-01-11T20:00:00Z"), Spine.SHARP, Ribs.SEEN))
    json_too = run("next", "--json", "--ics", file, "--at", "2025-01-11T22:00", home=own)
    (one,) = json.loads(json_too.stdout)
    assert (one["earliest"], one["condition"], one["portion"]["rather"]) == (None, "thin", "larger")
    text = file.read_bytes().replace(b"\r\n ", b"").decode()
    assert "SUMMARY:Juno: in shed\\, no meal until the skin is off" in text
    assert "SEQUENCE:1" in text


def test_wrong_use_is_one_line(home: Path, tmp_path: Path) -> None:
    nobody = run("next", "--animal", "Nobody", home=home)
    assert (nobody.returncode, nobody.stderr.count("\n")) == (1, 1)
    assert run("condition", "--animal", "Nobody", home=home).returncode == 1
    assert run("next", "--at", "soon", home=home).returncode == 2
    notes = tmp_path / "notes.txt"
    notes.write_text("mine")
    kept = run("next", "--ics", notes, home=home)
    assert (kept.returncode, kept.stderr.count("\n")) == (2, 1)
    assert notes.read_text() == "mine"
    empty = tmp_path / "empty"
    run("init", home=empty)
    assert re.match("No animal is in the book yet", run("next", home=empty).stdout)
    assert json.loads(run("next", "--json", home=empty).stdout) == []
