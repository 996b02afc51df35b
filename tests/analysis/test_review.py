"""Reviews end to end: CSV files through the import, the store and the book, to `review --json`.

Every figure against an independent computation from the same files (`brute.py`: exact fractions,
plain loops, scipy's quad), to 1e-6 h.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from analysis.review import Review, gather, review, review_all
from collector.book.book import Book
from collector.exchange import import_file
from collector.rfc3339 import parse
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.settings import Settings
from tests.analysis import brute, season

CARE = load_care_profile("boa-constrictor")
NOW = "2025-04-16T12:00:00Z"
KINDS = ("enclosures", "animals", "placements", "meals", "weights", "handling", "readings")


@dataclass(frozen=True)
class Kept:
    """A season as it was imported."""

    files: Path
    book: Book
    reader: Reader

    def reviews(self, zone: str = "Europe/Lisbon", animal: str | None = None) -> list[Review]:
        settings = Settings(time_zone=zone)
        return review_all(self.book, self.reader, CARE, settings, parse(NOW), animal=animal)


@contextmanager
def imported(folder: Path, seed: int) -> Iterator[Kept]:
    season.write(folder, seed)
    settings = Settings(time_zone="Europe/Lisbon")
    with Book(folder / "book.db") as book:
        archive = SqliteArchive(folder / "archive.db")
        try:
            for kind in KINDS:
                import_file(
                    kind, folder / f"{kind}.csv", book=book, archive=archive, settings=settings
                )
        finally:
            archive.close()
        with Reader(folder / "journal.db", folder / "archive.db") as reader:
            yield Kept(folder, book, reader)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    with imported(tmp_path_factory.mktemp("season"), 1) as one:
        yield one


def agree(mine: object, theirs: object, where: str = "") -> None:
    """Every figure of `theirs` in `mine`, numbers to 1e-6 (h, °C, K·h, %)."""
    if isinstance(theirs, dict):
        assert isinstance(mine, dict), where
        for name, value in theirs.items():
            agree(mine[name], value, f"{where}.{name}")
    elif isinstance(theirs, list):
        assert isinstance(mine, list), where
        assert len(mine) == len(theirs), where
        for i, (a, b) in enumerate(zip(mine, theirs, strict=True)):
            agree(a, b, f"{where}[{i}]")
    elif isinstance(theirs, float | int):
        assert mine == pytest.approx(theirs, rel=0, abs=1e-6), where
    else:
        assert mine == theirs, where


def as_json(one: Review) -> dict[str, object]:
    """What `review --json` prints, read back; the time it was through as hours after the meal."""
    found: dict[str, object] = json.loads(json.dumps(one.as_json(), allow_nan=False))
    digestion = found["digestion"]
    assert isinstance(digestion, dict)
    through = digestion["through_at_warm_side"]
    digestion["through_hours"] = (
        (parse(through) - one.taken_at_ms) / 3_600_000 if through is not None else None
    )
    return found


def check_against_brute(kept: Kept) -> None:
    files = brute.Files(kept.files)
    rows = [row for row in files.rows["meals"] if row["taken_at"]]
    rows.sort(key=lambda row: brute.hour(row["taken_at"]))
    reviews = kept.reviews()
    assert len(reviews) == len(rows)
    for one, row in zip(reviews, rows, strict=True):
        agree(as_json(one), brute.review(files, row, brute.hour(NOW)), f"meal {one.meal}")


def test_a_season_with_everything_that_makes_it_hard(kept: Kept) -> None:
    check_against_brute(kept)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(2, 22))
def test_many_seasons(tmp_path: Path, seed: int) -> None:
    with imported(tmp_path, seed) as one:
        check_against_brute(one)


def test_the_season_has_every_verdict_and_every_end(kept: Kept) -> None:
    """So that a check that passes has seen them."""
    reviews = kept.reviews()
    assert {one.verdict for one in reviews} == {
        "warm enough",
        "cool",
        "too cool",
        "too hot",
        "not enough readings",
        "no warm-side probe",
    }
    assert {one.window.ended_by for one in reviews} == {"complete", "outcome", "next meal", "now"}
    assert any("apart" in text for one in reviews for text in one.reasons)
    assert any(one.enclosure is None for one in reviews)


def test_faults_were_kept_flagged_and_not_used(kept: Kept) -> None:
    coldest = [one.warm_side.min_c for one in kept.reviews() if one.warm_side is not None]
    hottest = [one.warm_side.max_c for one in kept.reviews() if one.warm_side is not None]
    assert all(value is None or value > 0 for value in coldest)
    assert all(value is None or value < 60 for value in hottest)


def test_importing_everything_twice_changes_no_review(kept: Kept, tmp_path: Path) -> None:
    with imported(tmp_path, 1) as again:
        settings = Settings(time_zone="Europe/Lisbon")
        archive = SqliteArchive(tmp_path / "archive.db")
        try:
            for kind in KINDS:
                path = tmp_path / f"{kind}.csv"
                import_file(kind, path, book=again.book, archive=archive, settings=settings)
        finally:
            archive.close()
        assert [one.as_json() for one in again.reviews()] == [
            one.as_json() for one in kept.reviews()
        ]


def zone_free(one: dict[str, Any]) -> dict[str, Any]:
    """Without what the rules in days say: they count the home's calendar days."""
    by_day = ("finding", "limit", "basis")
    factors = [
        {name: value for name, value in factor.items() if name not in by_day}
        if factor["factor"].startswith("days since")
        else factor
        for factor in one["factors"]
    ]
    return {**one, "factors": factors}


def test_the_homes_time_zone_and_its_clock_change_move_no_figure(kept: Kept) -> None:
    lisbon, apia = kept.reviews("Europe/Lisbon"), kept.reviews("Pacific/Apia")
    for here, there in zip(lisbon, apia, strict=True):
        a, b = here.as_json(), there.as_json()
        texts = a.pop("reasons"), b.pop("reasons")
        assert zone_free(a) == zone_free(b)
        assert texts[0] == [] or here.verdict == "no warm-side probe" or texts[1] != []


def test_one_animal_is_judged_as_among_all(kept: Kept) -> None:
    alone = kept.reviews(animal="Maren")
    assert len(alone) == 3
    assert alone == [one for one in kept.reviews() if one.animal == "Maren"]


def test_one_meal_alone_is_judged_as_among_all(kept: Kept) -> None:
    settings = Settings(time_zone="Europe/Lisbon")
    for one in kept.reviews():
        meal = kept.book.meal(one.meal)
        found = gather(meal, kept.book, kept.reader, CARE, settings, parse(NOW))
        assert review(found, CARE, settings).as_json()["warm_side"] == one.as_json()["warm_side"]
        longer = gather(
            meal, kept.book, kept.reader, CARE, settings, parse(NOW), found.until_ms + 86_400_000
        )
        assert longer.until_ms == found.until_ms + 86_400_000
        assert review(longer, CARE, settings).reasons == one.reasons


FIELDS = {
    "": "meal animal enclosure taken_at window coverage warm_side cool_side humidity digestion "
    "verdict possible reasons outcome outcome_at factors vet",
    "window": "start end hours ended_by",
    "coverage": "known_hours share longest_gap_hours",
    "warm_side": "min_c mean_c median_c max_c below above",
    "cool_side": "min_c mean_c median_c max_c",
    "humidity": "min_pct mean_pct median_pct max_pct",
    "digestion": "model_days_at_30c progress_warm_side progress_cool_side through_at_warm_side "
    "swing_factor",
    "warm_side.below": "below_c hours hours_if_gaps_cold degree_hours longest_spell_hours "
    "longest_spell_if_gaps_cold",
    "warm_side.above": "above_c hours degree_hours",
    "factors": "factor value limit finding basis among",
}


@pytest.mark.parametrize("path", FIELDS)
def test_the_fields_that_other_programs_rely_on(kept: Kept, path: str) -> None:
    (one,) = [r for r in kept.reviews() if r.animal == "Maren" and r.window.ended_by == "now"]
    found: object = json.loads(json.dumps(one.as_json()))
    for name in path.split(".") if path else []:
        assert isinstance(found, dict)
        found = found[name]
    if isinstance(found, list):
        found = found[0]
    assert isinstance(found, dict)
    assert list(found) == FIELDS[path].split()


def test_times_are_rfc_3339_in_utc_and_the_outcome_is_said(kept: Kept) -> None:
    first = kept.reviews()[1].as_json()
    assert (first["animal"], first["taken_at"]) == ("Maren", "2025-03-25T06:28:48.137Z")
    assert first["outcome"] == "passed"
    assert first["outcome_at"] == "2025-04-02T06:00:00Z"
