"""An invented season as CSV files, with everything that makes readings hard to join with meals.

Five animals around the night of 30 March 2025, when Lisbon's clocks went forward. In the files:
gaps of every length, some of exactly the fifteen minutes that still join; a probe that falls out
for days; two probes on one warm side for a while; probes swapped between warm and cool side;
a probe moved to another enclosure; an animal moved in the middle of a meal, one whose first stay
begins after it, one without a warm-side probe; °C, K and °F in turn; rows out of order, rows twice,
power-on values (85 °C) and lost probes (−127 °C); times with and without summer time's offset.
"""

from __future__ import annotations

import csv
import math
import random
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

LISBON = ZoneInfo("Europe/Lisbon")
START = datetime(2025, 3, 24, 6, tzinfo=UTC)
DAYS = 24
Row = dict[str, object]

PROBES = {
    # probe: (quantity, mean, daily swing)
    "a-warm": ("temperature", 29.4, 1.9),
    "a-warm-2": ("temperature", 30.9, 1.2),
    "a-cool": ("temperature", 25.3, 1.5),
    "b-one": ("temperature", 30.2, 2.6),
    "b-two": ("temperature", 25.9, 2.0),
    "c-warm": ("temperature", 33.4, 4.6),
    "d-cool": ("temperature", 26.0, 1.0),
    "e-warm": ("temperature", 31.2, 0.8),
    "hygro-a": ("humidity", 63.0, 14.0),
    "hygro-b": ("humidity", 71.0, 8.0),
    "room": ("temperature", 21.0, 3.0),
}


def at(days: float, ms: int = 0) -> datetime:
    """A moment that many days after the season's start."""
    return START + timedelta(days=days, milliseconds=ms)


def written(moment: datetime, style: int) -> str:
    """An RFC 3339 time: in UTC, in Lisbon's time of that day, or far east."""
    zone = (UTC, LISBON, ZoneInfo("Asia/Kolkata"))[style % 3]
    text = moment.astimezone(zone).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z") if style % 2 else text


def write(folder: Path, seed: int) -> None:
    """Write all the files of a season."""
    rng = random.Random(seed)
    tables: dict[str, Sequence[Row]] = {
        "enclosures": ENCLOSURES,
        "animals": ANIMALS,
        "placements": PLACEMENTS,
        "meals": meals(),
        "weights": weights(),
        "handling": [
            {"animal": "Maren", "time": written(at(3.2), 1), "minutes": 10, "reason": "cleaning"}
        ],
        "readings": readings(rng),
    }
    for kind, rows in tables.items():
        with (folder / f"{kind}.csv").open("w", newline="", encoding="utf-8") as file:
            table = csv.DictWriter(file, COLUMNS[kind].split(","))
            table.writeheader()
            table.writerows(rows)


COLUMNS = {
    "readings": "time,probe,quantity,value,unit",
    "enclosures": "enclosure,room,notes",
    "animals": "animal,species,sex,born,enclosure,since",
    "placements": "probe,enclosure,zone,since,until",
    "meals": "animal,offered_at,taken_at,removed_at,prey,prey_count,prey_mass_g,prey_width_mm,"
    "prey_surface_c,prey_state,fed_in,outcome,outcome_at,notes",
    "weights": "animal,time,mass_g,length_cm,midbody_mm",
    "handling": "animal,time,minutes,reason",
}

ENCLOSURES: list[Row] = [
    {"enclosure": "A", "room": "cellar", "notes": "left, low"},
    {"enclosure": "B", "room": "cellar"},
    {"enclosure": "C", "room": "attic"},
    {"enclosure": "D", "room": "attic"},
    {"enclosure": "E"},
]


def _stay(animal: str, enclosure: str, since: datetime, style: int) -> Row:
    return {
        "animal": animal,
        "species": "Boa constrictor",
        "sex": "female",
        "born": "2021-05-30",
        "enclosure": enclosure,
        "since": written(since, style),
    }


ANIMALS = [
    _stay("Maren", "A", at(-30), 0),
    _stay("Maren", "B", at(11.3), 1),  # in the middle of her second meal
    _stay("Maren", "A", at(13.1), 2),
    _stay("Ondo", "B", at(-10), 3),
    _stay("Pell", "C", at(2.7), 4),  # after Pell's first meal
    _stay("Tamsin", "E", at(-5), 0),
    _stay("Quill", "D", at(-5), 5),  # no probe on D's warm side
    _stay("Quill", "C", at(16.2), 1),  # ... but on C's
]


def _place(probe: str, where: str, zone: str, since: float, until: float | None = None) -> Row:
    end = written(at(until), 1) if until is not None else ""
    place = {"probe": probe, "enclosure": where, "zone": zone}
    return {**place, "since": written(at(since), round(since * 10)), "until": end}


PLACEMENTS = [
    _place("a-warm", "A", "warm side", -1),
    _place("a-warm-2", "A", "warm side", 4.05, 9.6),
    _place("a-warm-2", "C", "warm side", 9.61),  # moved to another enclosure
    _place("a-cool", "A", "cool side", -1),
    _place("b-one", "B", "warm side", -1),
    _place("b-two", "B", "cool side", -1),
    _place("b-two", "B", "warm side", 6.02),  # swapped
    _place("b-one", "B", "cool side", 6.03),
    _place("b-one", "B", "warm side", 14.0),  # and back, ten minutes later
    _place("b-two", "B", "cool side", 14.007),
    _place("c-warm", "C", "warm side", -1),
    _place("e-warm", "E", "warm side", -1),
    _place("d-cool", "D", "cool side", -1),
    _place("hygro-a", "A", "hide", -1),
    _place("hygro-b", "A", "cool side", 2.0, 8.0),
    _place("hygro-b", "B", "warm side", 8.5),
    _place("room", "A", "room", -1),
]


def _meal(animal: str, taken: float, style: int, **fields: object) -> Row:
    base = {
        "animal": animal,
        "offered_at": written(at(taken - 0.01), style),
        "taken_at": written(at(taken, 137), style + 1),
        "prey": "rat",
        "prey_state": "thawed",
        "fed_in": "enclosure",
    }
    return base | fields


def meals() -> list[Row]:
    """Fourteen offers: of every length of window, with every way it can end."""
    return [
        _meal("Maren", 1.02, 0, prey_mass_g=150, outcome="passed", outcome_at=written(at(9), 1)),
        _meal("Maren", 9.3, 1, prey_mass_g=60, prey_count=3, outcome="kept"),
        _meal("Maren", 20.4, 2, prey_mass_g=150),
        _meal(
            "Ondo",
            2.01,
            3,
            prey_mass_g=95,
            outcome="regurgitated",
            outcome_at=written(at(4.9, 21), 2),
        ),
        _meal("Ondo", 5.5, 4, prey_mass_g=30, outcome="kept"),
        {"animal": "Ondo", "offered_at": written(at(7), 1), "prey": "rat", "outcome": "refused"},
        _meal("Ondo", 12.2, 5, prey_mass_g=55),
        _meal("Ondo", 14.9, 5, outcome="vomited"),
        _meal("Pell", 0.9, 0, prey_mass_g=300, outcome="kept"),
        _meal("Pell", 17.5, 1, prey_mass_g=700),
        _meal("Tamsin", 4.0, 4, prey_mass_g=42, outcome="passed"),
        _meal("Tamsin", 12.0, 5, prey_mass_g=170),
        _meal("Quill", 3.0, 2, prey_mass_g=40),
        _meal("Quill", 14.8, 3, prey_mass_g=200),
    ]


def weights() -> list[Row]:
    """Before, after, too long ago, and without a mass."""
    rows = [
        ("Maren", -3.0, 1480, 41.0),
        ("Maren", 15.0, "", 42.0),
        ("Ondo", -95.0, 300, ""),
        ("Ondo", 8.0, 420, 30.0),
        ("Pell", 4.0, 2950, ""),
        ("Quill", 60.0, 900, ""),
        ("Tamsin", -20.0, 850, 33.5),
    ]
    return [
        {"animal": a, "time": written(at(d), i), "mass_g": m, "midbody_mm": w}
        for i, (a, d, m, w) in enumerate(rows)
    ]


# ---- readings -------------------------------------------------------------------------------


def readings(rng: random.Random) -> list[Row]:
    """Every probe's rows, faults and doubles among them, in no order."""
    rows = [row for probe in PROBES for row in _of_probe(probe, rng)]
    rows += rng.choices(rows, k=len(rows) // 20)
    rng.shuffle(rows)
    return rows


def _of_probe(probe: str, rng: random.Random) -> Iterator[Row]:
    quantity, mean, swing = PROBES[probe]
    drift = 0.0
    for moment in _times(probe, rng):
        day = (moment - START) / timedelta(days=1)
        drift = 0.98 * drift + rng.gauss(0, 0.25)
        value = mean + swing * math.sin(2 * math.pi * day) + drift - _cold_night(probe, day)
        yield _row(moment, probe, quantity, value, rng)
        if quantity == "temperature" and rng.random() < 0.01:
            fault = rng.choice((85.0, -127.0))
            yield _row(moment + timedelta(seconds=61), probe, quantity, fault, rng)


def _times(probe: str, rng: random.Random) -> Iterator[datetime]:
    """Every 6 to 14 minutes, with gaps; short ones only, but for a night, with e-warm."""
    moment, end = at(-0.2, rng.randrange(60_000)), at(DAYS)
    gaps, night = ((0.4, 1), at(14.6)) if probe == "e-warm" else ((0.4, 1, 3, 8, 30), end)
    while moment < end:
        yield moment
        draw = rng.random()
        if draw < 0.01:
            moment += timedelta(minutes=15)  # still joined
        elif draw < 0.02:
            moment += timedelta(minutes=15, milliseconds=1)  # not any more
        elif draw < 0.03:
            moment += timedelta(hours=rng.choice(gaps))
        elif night <= moment < night + timedelta(hours=1):
            moment += timedelta(hours=9)
        else:
            moment += timedelta(milliseconds=rng.randrange(360_000, 840_000))


def _cold_night(probe: str, day: float) -> float:
    """A heater that fails, each time another."""
    nights = {
        "a-warm": (2.6, 5.0),
        "b-one": (2.9, 9.0),
        "b-two": (12.5, 6.0),
        "c-warm": (1.5, 13.0),
    }
    night, depth = nights.get(probe, (-9.0, 0.0))
    return depth * math.exp(-(((day - night) / 0.35) ** 2))


def _row(moment: datetime, probe: str, quantity: str, value: float, rng: random.Random) -> Row:
    style = rng.randrange(6)
    unit = "%RH" if quantity == "humidity" else ("Cel", "K", "degF")[style // 2]
    number = {"K": value + 273.15, "degF": value * 1.8 + 32}.get(unit, value)
    decimals = 2 if unit in ("Cel", "K") else 3
    return {
        "time": written(moment, style),
        "probe": probe,
        "quantity": quantity,
        "value": f"{number:.{decimals}f}",
        "unit": unit,
    }
