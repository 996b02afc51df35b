"""A whole book entered through the commands, and the same through CSV: the same answers."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from collector.book.check import check_book
from config.home import Home
from tests.analysis.cli.writing.invented_book import (
    FIRST,
    HEADERS,
    Told,
    file_time,
    invent,
)
from tests.analysis.cli.writing.keeper import Keeper, at

NOW = at("2026-06-01 12:00")


@pytest.fixture
def quick(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory, where there is one: a thousand commands each wait for the disk else."""
    memory = Path("/dev/shm")  # noqa: S108  # a folder of our own is made in it
    if not os.access(memory, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)


def make_home(folder: Path, monkeypatch: pytest.MonkeyPatch, animals: int) -> Keeper:
    probes = "".join(f'[[probe]]\nid = "p{n}"\n' for n in range(animals))
    settings = f'time_zone = "Europe/Lisbon"\n{probes}'
    return Keeper(folder, monkeypatch, now_ms=NOW, settings=settings)


def readings(animals: int) -> str:
    """Three weeks of two warm sides, one of them too cool at night."""
    lines = ["time,probe,quantity,value,unit"]
    for n in range(min(2, animals)):
        for step in range(21 * 144):
            when: datetime = FIRST + timedelta(minutes=10 * step)
            swing = (1.0 + 3.0 * n) * math.sin(2 * math.pi * step / 144)
            lines.append(f"{file_time(when)},p{n},temperature,{30.5 - n + swing:.3f},Cel")
    return "\n".join(lines) + "\n"


def answers(keeper: Keeper) -> dict[str, object]:
    """What the home says: every export, and the judgements."""
    found: dict[str, object] = {kind: keeper.does(f"export {kind}") for kind in HEADERS}
    for command in ("review --json", "next --json", "due --json", "condition --json"):
        found[command] = json.loads(keeper.does(f"{command} --at 2025-12-30T12:00:00Z"))
    return found


def both_ways(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told: Told, animals: int) -> None:
    typed = make_home(tmp_path / "typed", monkeypatch, animals)
    for _, words in told.commands:
        assert typed.types(*words) == 0, (words, typed.said)
    filed = make_home(tmp_path / "filed", monkeypatch, animals)
    for kind in HEADERS:
        file = tmp_path / f"{kind}.csv"
        file.write_text(told.csv(kind), encoding="utf-8")
        said = filed.does(f"import {kind}", str(file)).splitlines()
        assert len(said) == 1, said
        assert f": {len(told.rows[kind])} new, 0 there already" in said[0]
    file = tmp_path / "readings.csv"
    file.write_text(readings(animals), encoding="utf-8")
    for keeper in (typed, filed):
        keeper.does("import readings", str(file))
        assert check_book(Home(keeper.folder).book) == []
    by_command, by_file = answers(typed), answers(filed)
    for name, answer in by_command.items():
        assert answer == by_file[name], name
    reviews = by_command["review --json"]
    assert isinstance(reviews, list)
    verdicts = {one["verdict"] for one in reviews}
    assert {"warm enough", "cool", "not enough readings"} <= verdicts
    assert_every_change_is_told(typed)


def assert_every_change_is_told(keeper: Keeper) -> None:
    """Put back step by step in memory, the history ends where the book began: empty."""
    with keeper.book() as book:
        changes = book.history()
        there: dict[tuple[str, str], object] = {}
        for change in changes:
            key = (change.kind, json.dumps(dict(change.key)))
            assert there.get(key) == change.record, change
            there[key] = book.after(change)
        left = [record for record in there.values() if record is not None]
        kept = (
            *book.enclosures(), *book.animals(), *book.stays(), *book.meals(), *book.weighings(),
            *book.placements(as_written=True), *book.handlings(), *book.sheds(), *book.looks(),
            *book.droppings(),
        )  # fmt: skip
        assert len(left) == len(kept)
        assert {change.who for change in changes} == {"Ines"}


def test_twenty_animals_and_three_years_both_ways(
    quick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = invent(7, animals=20, days=1095, every_days=90)
    assert told.meals > 200
    both_ways(quick, monkeypatch, told, 20)


@pytest.mark.campaign
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("seed", [1, 2])
def test_the_same_with_a_meal_every_twelve_days(
    quick: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    told = invent(seed, animals=20, days=1095, every_days=12)
    assert told.meals > 1500
    both_ways(quick, monkeypatch, told, 20)


def test_a_second_import_changes_nothing_after_the_commands(
    quick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was typed and what the files say is one and the same record, key by key."""
    told = invent(3, animals=2, days=400, every_days=30)
    typed = make_home(quick / "typed", monkeypatch, 2)
    for _, words in told.commands:
        assert typed.types(*words) == 0, (words, typed.said)
    for kind in HEADERS:
        file = quick / f"{kind}.csv"
        file.write_text(told.csv(kind), encoding="utf-8")
        said = typed.does(f"import {kind}", str(file))
        assert f": 0 new, {len(told.rows[kind])} there already" in said, said
