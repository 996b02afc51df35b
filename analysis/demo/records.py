"""The keeper's records of the story, as the CSV files that `warmcoil import` takes."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

from analysis.demo.calendar import DAY_MS
from analysis.demo.collection import ANIMALS, ENCLOSURE_NOTES, ENCLOSURES, KEEPING_ROOM, ZONE
from analysis.demo.meals import Offer
from analysis.demo.story import Story
from collector.rfc3339 import written

Cell = str | float | None

KINDS = ("enclosures", "animals", "placements", "meals", "weights", "handling")
"""In the order in which they must be imported: who is named before what names it."""

_HEADERS = {
    "enclosures": "enclosure,room,notes",
    "animals": "animal,species,sex,born,enclosure,since",
    "placements": "probe,enclosure,zone,since,until",
    "meals": "animal,offered_at,taken_at,removed_at,prey,prey_count,prey_mass_g,prey_width_mm,"
    "prey_surface_c,prey_state,fed_in,outcome,outcome_at,notes",
    "weights": "animal,time,mass_g,length_cm,midbody_mm",
    "handling": "animal,time,minutes,reason",
}


def write_records(story: Story, folder: Path) -> dict[str, Path]:
    """Write one file per kind into `folder`; return them by kind, in the order of import."""
    rows: dict[str, Iterable[Sequence[Cell]]] = {
        "enclosures": _enclosures(),
        "animals": _animals(story),
        "placements": _placements(story),
        "meals": (_meal(offer) for offer in story.offers),
        "weights": (
            (w.animal, _time(w.at_ms), w.mass_g, w.length_cm, w.midbody_mm) for w in story.weighings
        ),
        "handling": ((h.animal, _time(h.at_ms), h.minutes, h.reason) for h in story.handlings),
    }
    files = {}
    for kind in KINDS:
        files[kind] = folder / f"{kind}.csv"
        with files[kind].open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out)
            writer.writerow(_HEADERS[kind].split(","))
            writer.writerows(rows[kind])
    return files


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else written(at_ms, ZONE)


def _enclosures() -> Iterable[Sequence[Cell]]:
    return ((e.name, KEEPING_ROOM, ENCLOSURE_NOTES[e.name]) for e in ENCLOSURES)


def _animals(story: Story) -> Iterable[Sequence[Cell]]:
    by_name = {kept.animal: kept for kept in ANIMALS}
    for stay in story.stays:
        kept = by_name[stay.animal]
        born = written(story.calendar.now_ms - kept.age_days * DAY_MS, ZONE)[:10]
        yield kept.animal, kept.species, kept.sex, born, stay.enclosure, _time(stay.since_ms)


def _placements(story: Story) -> Iterable[Sequence[Cell]]:
    for p in story.placements():
        yield p.probe, p.enclosure, p.zone.value, _time(p.since_ms), _time(p.until_ms)


def _meal(offer: Offer) -> Sequence[Cell]:
    return (
        offer.kept.animal,
        _time(offer.offered_ms),
        _time(offer.taken_ms),
        _time(offer.removed_ms),
        offer.prey,
        1,
        offer.prey_g,
        offer.width_mm,
        offer.surface_c,
        offer.state.value,
        offer.fed_in.value,
        offer.outcome.value if offer.outcome else None,
        _time(offer.outcome_ms),
        offer.notes,
    )
