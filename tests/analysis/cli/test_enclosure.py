"""`warmcoil enclosure` on a home whose readings were imported, as a keeper runs it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from collector.rfc3339 import written
from hardware.rack.faults import Heater, HeaterFault
from tests.analysis.cli.test_commands import run
from tests.analysis.falls import DAY, HOUR, LARCH, MINUTE, T0, rack_series

END = written(T0 + 8 * DAY)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight days of one enclosure with its room, two failures of the heater, and a bare one."""
    folder = tmp_path_factory.mktemp("enclosure")
    since = written(T0 - DAY)
    off = [HeaterFault("Larch", Heater.OFF, T0 + d * DAY, T0 + d * DAY + 3 * HOUR) for d in (2, 5)]
    series = rack_series(seed=1, days=8, every_ms=2 * MINUTE, faults=off)
    tables: dict[str, list[tuple[object, ...]]] = {
        "enclosures": [("enclosure", "room", "notes"), ("Larch", "attic", ""), ("Fir", "", "")],
        "placements": [
            ("probe", "enclosure", "zone", "since", "until"),
            ("warm", "Larch", "warm side", since, ""),
            ("room", "Larch", "room", since, ""),
        ],
        "readings": [
            ("time", "probe", "quantity", "value", "unit"),
            *(
                (written(at), probe, "temperature", value, "Cel")
                for probe, values in (("warm", series.warm_c), ("room", series.room_c))
                for at, value in zip(series.at_ms, values, strict=True)
            ),
        ],
    }  # fmt: skip
    made = folder / "home"
    assert run("init", home=made).returncode == 0
    for kind, rows in tables.items():
        file = folder / f"{kind}.csv"
        with file.open("w", newline="", encoding="utf-8") as out:
            csv.writer(out).writerows(rows)
        done = run("import", kind, file, home=made)
        assert (done.returncode, done.stderr) == (0, ""), kind
    return made


def test_it_says_how_it_cools_and_what_it_can_hold(home: Path) -> None:
    said = run("enclosure", "Larch", "--room", "15", "--hold", "31", "--at", END, home=home)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout.startswith("Larch: without heat")
    assert "from 2 falls" in said.stdout
    assert "Can it hold 31.0 °C if the room goes to 15.0 °C? Not known" in said.stdout
    warm = run("enclosure", "Larch", "--room", "20", "--hold", "31", "--at", END, home=home)
    assert "Yes, by the records" in warm.stdout


def test_json_has_every_enclosure_and_unknown_is_null(home: Path) -> None:
    done = run("enclosure", "--json", "--at", END, home=home)
    fir, larch = json.loads(done.stdout)
    assert (fir["enclosure"], fir["usual_c"], fir["time_constant"], fir["hold"]) == (
        "Fir", None, None, None,
    )  # fmt: skip
    tau = larch["time_constant"]
    assert tau["low_h"] < LARCH.warm_tau_s / 3600 < tau["high_h"]
    assert larch["to_floor"]["low_hours"] < larch["to_floor"]["hours"] < 1.2
    assert larch["hold"]["answer"] == "not known"
    assert larch["heater"]["strength"] is None


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("Oak",), 1, "no enclosure 'Oak' in the book; it knows Fir, Larch"),
        (("Larch", "--room", "300"), 2, "--room"),
        (("Larch", "--hold", "warm"), 2, "--hold"),
        (("Larch", "--at", "soon"), 2, "is not a time"),
    ],
)
def test_errors_are_one_line(home: Path, words: tuple[str, ...], code: int, says: str) -> None:
    done = run("enclosure", *words, home=home)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (code, "", 1)
    assert says in done.stderr
