"""A whole review a second time, from the CSV files themselves: slow, plain, sharing no code.

Written from the definitions of the figures alone. Exact fractions of an hour since 1970 and plain
loops (`exact.py`); the digestion integral by scipy. Nothing in here imports the project.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from scipy.integrate import quad

from tests.analysis import exact
from tests.analysis.exact import Pieces, Span

Row = dict[str, str]
GAP = Fraction(1, 4)
FAULTS = (Fraction(85), Fraction(-127))
LimitRow = tuple[str, Fraction, int, bool, int | None, str]
LIMITS: tuple[LimitRow, ...] = (
    # side, level, hours, of the longest spell, within, verdict
    ("below", Fraction(28), 6, True, None, "cool"),
    ("below", Fraction(25), 12, False, 72, "too cool"),
    ("below", Fraction(22), 6, False, 72, "too cool"),
    ("above", Fraction(36), 1, False, None, "too hot"),
)
ORDER = ["warm enough", "cool", "too cool", "too hot"]
FOREVER = Fraction(10**9)


def hour(text: str) -> Fraction:
    """Hours since 1970 of an RFC 3339 time."""
    moment = datetime.fromisoformat(text)
    offset = moment.utcoffset()
    assert offset is not None
    naive = moment.replace(tzinfo=None) - offset - datetime(1970, 1, 1)  # noqa: DTZ001
    return Fraction(naive.days * 24) + Fraction(
        naive.seconds * 10**6 + naive.microseconds, 36 * 10**8
    )


def celsius(text: str, unit: str) -> Fraction:
    """A value in °C (or %RH as it is)."""
    number = Fraction(text)
    if unit == "K":
        return number - Fraction("273.15")
    return (number - 32) * Fraction(5, 9) if unit == "degF" else number


class Files:
    """The rows of an import, as text."""

    def __init__(self, folder: Path) -> None:
        self.rows = {path.stem: _rows(path) for path in sorted(folder.glob("*.csv"))}
        self.readings: dict[tuple[str, str], list[tuple[Fraction, Fraction]]] = {}
        series: dict[tuple[str, str], dict[Fraction, Fraction]] = {}
        for row in self.rows["readings"]:
            value = celsius(row["value"], row["unit"])
            if value not in FAULTS:
                key = row["probe"], row["quantity"]
                series.setdefault(key, {}).setdefault(hour(row["time"]), value)
        for key, readings in series.items():
            self.readings[key] = sorted(readings.items())

    def stays(self, animal: str) -> list[tuple[str, Fraction, Fraction]]:
        """(enclosure, since, until) of the animal's stays."""
        own = sorted(
            (hour(row["since"]), row["enclosure"])
            for row in self.rows["animals"]
            if row["animal"] == animal
        )
        ends = [since for since, _ in own[1:]] + [FOREVER]
        return [(name, since, end) for (since, name), end in zip(own, ends, strict=True)]

    def placements(self) -> list[tuple[str, str, str, Fraction, Fraction]]:
        """(probe, enclosure, zone, since, until), each ended by the probe's next one."""
        found = []
        for row in self.rows["placements"]:
            since = hour(row["since"])
            later = [
                hour(other["since"])
                for other in self.rows["placements"]
                if other["probe"] == row["probe"] and hour(other["since"]) > since
            ]
            own_end = [hour(row["until"])] if row["until"] else []
            until = min([*later, *own_end, FOREVER])
            found.append((row["probe"], row["enclosure"], row["zone"], since, until))
        return found


def _rows(path: Path) -> list[Row]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


# ---- the line -------------------------------------------------------------------------------


def zone(files: Files, animal: str, zones: set[str], quantity: str, span: Span) -> Pieces | None:
    """The mean line of the zones' probes over the window; None where none was ever placed."""
    lines: list[Pieces] = []
    for enclosure, since, until in files.stays(animal):
        a, b = max(since, span[0]), min(until, span[1])
        for probe, where, what, placed, taken_away in files.placements():
            readings = files.readings.get((probe, quantity))
            overlaps = max(a, placed) < min(b, taken_away)
            if where != enclosure or what not in zones or readings is None or not overlaps:
                continue
            own = [(t, v) for t, v in readings if placed <= t < taken_away]
            near = [(t, v) for t, v in own if a - GAP <= t <= b + GAP]
            lines.append(exact.cut(exact.joined(near, GAP), a, b))
    if not lines:
        return None
    return sorted(lines[0]) if len(lines) == 1 else exact.mean_line(lines)


# ---- figures --------------------------------------------------------------------------------


def figures(line: Pieces, unit: str) -> dict[str, object]:
    """min, mean, median, max."""
    names = [f"{name}_{unit}" for name in ("min", "mean", "median", "max")]
    if not line:
        return dict.fromkeys(names)
    ends = [value for piece in line for value in piece[2:]]
    numbers = (min(ends), exact.mean(line), _median(line, min(ends), max(ends)), max(ends))
    return dict(zip(names, map(float, numbers), strict=True))


def _median(line: Pieces, low: Fraction, high: Fraction) -> Fraction:
    """By halving: the value with half of the known time below it."""
    half = exact.known(line) / 2
    while high - low > Fraction(1, 10**9):
        middle = Fraction(round((low + high) / 2 * 10**10), 10**10)
        low, high = (middle, high) if exact.hours_below(line, middle) < half else (low, middle)
    return high


def below(line: Pieces, level: int, span: Span) -> dict[str, float]:
    """The figures below one level."""
    at, gaps = Fraction(level), exact.gaps(line, *span)
    hours = exact.hours_below(line, at)
    return {
        "below_c": level,
        "hours": float(hours),
        "hours_if_gaps_cold": float(hours + sum(b - a for a, b in gaps)),
        "degree_hours": float(exact.degree_hours(line, at)),
        "longest_spell_hours": float(exact.longest(exact.spells_below(line, at))),
        "longest_spell_if_gaps_cold": float(exact.longest(exact.spells_below(line, at, gaps))),
    }


def above(line: Pieces, level: int) -> dict[str, float]:
    """The figures above one level."""
    turned = _turned(line)
    return {
        "above_c": level,
        "hours": float(exact.hours_below(turned, Fraction(-level))),
        "degree_hours": float(exact.degree_hours(turned, Fraction(-level))),
    }


def _turned(line: Pieces) -> Pieces:
    return [(start, end, -a, -b) for start, end, a, b in line]


def verdict(line: Pieces, span: Span, limits: tuple[LimitRow, ...] = LIMITS) -> tuple[str, str]:
    """The verdict, and the worst that gaps could hide."""
    met, possible = ["warm enough"], ["warm enough"]
    for side, level, hours, of_spell, within, name in limits:
        end = span[1] if within is None else min(span[1], span[0] + within)
        part, at = exact.cut(line, span[0], end), level
        if side == "above":
            part, at = _turned(part), -at
        gaps = exact.gaps(part, span[0], end) if side == "below" else []
        if of_spell:
            sure = exact.longest(exact.spells_below(part, at))
            cold = exact.longest(exact.spells_below(part, at, gaps))
        else:
            sure = exact.hours_below(part, at)
            cold = sure + sum(b - a for a, b in gaps)
        met += [name] if sure >= hours else []
        possible += [name] if cold >= hours else []
    worst = max(met, key=ORDER.index)
    hidden = max(met + possible, key=ORDER.index)
    if worst == "warm enough" and hidden != worst:
        return "not enough readings", hidden
    return worst, hidden


# ---- digestion ------------------------------------------------------------------------------


def days(meal_pct: float, at_c: float) -> float:
    """D(m, T) = 7.0 d × (m / 25)^0.64 × 2.6^((30 − T) / 10), T no more than 32."""
    return float(7.0 * (meal_pct / 25.0) ** 0.64 * 2.6 ** ((30.0 - min(at_c, 32.0)) / 10.0))


def progress(line: Pieces, meal_pct: float, factor: float) -> float:
    """∫ dt / D, by quad on every piece, in two where it passes the clamp."""
    total = 0.0
    for start, end, a, b in line:
        length, first, rise = float(end - start), float(a), float(b - a)
        corner = (32.0 - first) / rise if rise else 0.0
        points = [corner * length] if 0.0 < corner < 1.0 else None

        def rate(t: float, h: float = length, x: float = first, r: float = rise) -> float:
            return 1.0 / (24.0 * factor * days(meal_pct, x + r * t / h))

        total += quad(rate, 0.0, length, points=points, epsabs=1e-13)[0]
    return total


def through(line: Pieces, meal_pct: float, factor: float, start: Fraction) -> float | None:
    """When progress reaches 1, in h after the meal, by halving the piece it happens in."""
    sofar = 0.0
    for piece in line:
        gain = progress([piece], meal_pct, factor)
        if sofar + gain < 1.0:
            sofar += gain
            continue
        low, high = piece[0], piece[1]
        while high - low > Fraction(1, 10**9):
            middle = Fraction(round((low + high) / 2 * 10**11), 10**11)
            done = sofar + progress(exact.cut([piece], piece[0], middle), meal_pct, factor) >= 1.0
            low, high = (low, middle) if done else (middle, high)
        return float(high - start)
    return None


def swing(line: Pieces, span: Span) -> float:
    """1.25 where highest minus lowest of a day is 8 °C or more on average, else 1."""
    swings, start = [], span[0]
    while start < span[1]:
        day = exact.cut(line, start, min(start + 24, span[1]))
        if exact.known(day) >= 12:
            ends = [value for piece in day for value in piece[2:]]
            swings.append(max(ends) - min(ends))
        start += 24
    return 1.25 if swings and sum(swings) / len(swings) >= 8 else 1.0


# ---- the meal -------------------------------------------------------------------------------


def body_mass(files: Files, animal: str, at: Fraction) -> float | None:
    """The last mass within 90 days before, else the first within 30 days after."""
    own = [
        (hour(row["time"]), float(row["mass_g"]))
        for row in files.rows["weights"]
        if row["animal"] == animal and row["mass_g"]
    ]
    before = [pair for pair in own if at - 90 * 24 <= pair[0] <= at]
    after = [pair for pair in own if at < pair[0] <= at + 30 * 24]
    return max(before)[1] if before else min(after)[1] if after else None


def window(files: Files, row: Row, pct: float | None, now: Fraction) -> tuple[Span, str]:
    """The span of the meal's window and what ended it."""
    start = hour(row["taken_at"])
    length = 7.0 if pct is None else min(max(days(pct, 30.0), 3.0), 14.0)
    ends = [(start + Fraction(round(length * 86_400_000), 3_600_000), "complete")]
    if row["outcome"] in ("regurgitated", "vomited") and row["outcome_at"]:
        ends.append((hour(row["outcome_at"]), "outcome"))
    taken = [
        hour(other["taken_at"])
        for other in files.rows["meals"]
        if other["animal"] == row["animal"] and other["taken_at"]
    ]
    ends += [(at, "next meal") for at in taken if at > start]
    end, why = min([*ends, (now, "now")])
    return (start, end), why


def review(files: Files, row: Row, now: Fraction) -> dict[str, object]:
    """What `review --json` has to say of one row of meals.csv, numbers apart from reasons."""
    animal, taken = row["animal"], hour(row["taken_at"])
    body = body_mass(files, animal, taken)
    pct = None
    if row["prey_mass_g"] and body:
        pct = 100 * float(row["prey_mass_g"]) * int(row["prey_count"] or 1) / body
    span, why = window(files, row, pct, now)

    def line(zones: set[str], quantity: str = "temperature") -> Pieces | None:
        return zone(files, animal, zones, quantity, span)

    warm, cool = line({"warm side"}), line({"cool side"})
    humid = line({"warm side", "cool side", "hot spot", "hide"}, "humidity")
    known = exact.known(warm or [])
    gaps = [b - a for a, b in exact.gaps(warm or [], *span)]
    factor = swing(warm or [], span)
    judged = verdict(warm, span) if warm is not None else ("no warm-side probe",) * 2
    places = [name for name, since, until in files.stays(animal) if since <= taken < until]
    return {
        "animal": animal,
        "enclosure": places[0] if places else None,
        "window": {"hours": float(span[1] - span[0]), "ended_by": why},
        "coverage": {
            "known_hours": float(known),
            "share": float(known / (span[1] - span[0])),
            "longest_gap_hours": float(max(gaps, default=Fraction(0))),
        },
        "warm_side": None
        if warm is None
        else {
            **figures(warm, "c"),
            "below": [below(warm, level, span) for level in (28, 25, 22)],
            "above": [above(warm, 36)],
        },
        "cool_side": None if cool is None else figures(cool, "c"),
        "humidity": None if humid is None else figures(humid, "pct"),
        "digestion": {
            "model_days_at_30c": None if pct is None else days(pct, 30.0),
            "progress_warm_side": _of(warm, pct, lambda pieces, m: progress(pieces, m, factor)),
            "progress_cool_side": _of(cool, pct, lambda pieces, m: progress(pieces, m, factor)),
            "through_hours": _of(warm, pct, lambda pieces, m: through(pieces, m, factor, taken)),
            "swing_factor": factor,
        },
        "verdict": judged[0],
        "possible": judged[1],
    }


def _of(
    line: Pieces | None, pct: float | None, figure: Callable[[Pieces, float], float | None]
) -> float | None:
    return figure(line, pct) if line and pct is not None else None
