"""Commands to a running rack: each does what it says, and nonsense is told what there is."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.errors import BadSettings, Unusable
from hardware.rack.command import Controls
from hardware.rack.faults import Heater, Script
from hardware.rack.hearing import CommandFile
from hardware.rack.layout import load_layout, small_layout

AT_MS = 1_700_000_000_000
WARM = "urn:dev:ow:28a1b2c3d4e5f6ac"


def controls() -> Controls:
    layout = small_layout()
    return Controls(
        Script(), tuple(e.name for e in layout.enclosure), tuple(p.id for p in layout.probe)
    )


def test_heater_off_until_it_is_on_again() -> None:
    rack = controls()
    assert rack.obey("heater off left shelf\n", AT_MS) == (
        "left shelf: heater off until it is ended"
    )
    assert rack.script.enclosure("left shelf", AT_MS).heater is Heater.OFF
    assert rack.script.enclosure("right shelf", AT_MS).heater is Heater.THERMOSTAT
    assert rack.obey("heater on left shelf", AT_MS + 1000) == "left shelf: mended"
    assert rack.script.enclosure("left shelf", AT_MS + 1000).heater is Heater.THERMOSTAT
    assert "nothing was wrong" in rack.obey("heater on left shelf", AT_MS + 2000)


def test_for_some_minutes() -> None:
    rack = controls()
    rack.obey("door  open   right shelf  for 2.5", AT_MS)
    assert rack.script.enclosure("right shelf", AT_MS + 149_999).door_open
    assert not rack.script.enclosure("right shelf", AT_MS + 150_000).door_open


def test_every_kind_of_fault_comes_and_goes() -> None:
    rack = controls()
    for line in (
        "power off",
        "unplug f6ac",
        f"drop {WARM}",
        "heater stuck right shelf",
        "mist left shelf",
    ):
        rack.obey(line, AT_MS)
    probe = rack.script.probe(WARM, AT_MS)
    assert (probe.powered, probe.plugged, probe.fallen) == (False, False, True)
    assert rack.script.enclosure("right shelf", AT_MS).heater is Heater.STUCK_ON
    assert rack.script.enclosure("left shelf", AT_MS).misting
    for line in ("power on", "plug f6ac", "lift f6ac", "heater on right shelf"):
        assert rack.obey(line, AT_MS + 1).endswith("mended")
    probe = rack.script.probe(WARM, AT_MS + 1)
    assert (probe.powered, probe.plugged, probe.fallen) == (True, True, False)
    assert not rack.script.enclosure("left shelf", AT_MS + 120_000).misting


def test_pace() -> None:
    rack = controls()
    rack.obey("pace 60", AT_MS)
    assert rack.pace == 60.0
    for bad in ("pace", "pace fast", "pace 0", "pace -3", "pace 1e9", "pace nan"):
        with pytest.raises(Unusable):
            rack.obey(bad, AT_MS)
    assert rack.pace == 60.0


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("make tea", "there are: heater off"),
        ("heateroff left shelf", "is no command"),
        ("heater off attic", "there are: left shelf, right shelf"),
        ("heater off", "no enclosure ''"),
        ("unplug 0000", "no probe ends in '0000'"),
        ("unplug", "no probe ends in ''"),
        (f"power off for {'9' * 400}", "at most 1000000 minutes"),
    ],
)
def test_nonsense_is_told_what_there_is(line: str, says: str) -> None:
    rack = controls()
    with pytest.raises(Unusable, match=says.replace("|", r"\|")):
        rack.obey(line, AT_MS)
    assert rack.script.faults == ()


def test_an_ambiguous_probe_is_refused() -> None:
    rack = Controls(Script(), (), ("urn:dev:ow:01", "urn:dev:ow:101"))
    with pytest.raises(Unusable, match="more than one probe ends in '01'"):
        rack.obey("unplug 01", AT_MS)


def test_a_command_file_gives_each_added_line_once(tmp_path: Path) -> None:
    path = tmp_path / "commands"
    path.write_text("old line\n")
    ears = CommandFile(path)
    assert ears.lines() == []
    with path.open("a") as file:
        file.write("one\ntwo\nhal")
    assert ears.lines() == ["one", "two"]
    assert ears.lines() == []
    with path.open("a") as file:
        file.write("f\n\n")
    assert ears.lines() == ["half"]
    path.write_text("new\n")  # shorter than before: begun afresh
    assert ears.lines() == ["new"]
    path.unlink()
    assert ears.lines() == []


def test_a_command_file_bears_rubbish(tmp_path: Path) -> None:
    path = tmp_path / "commands"
    ears = CommandFile(path)
    path.write_bytes(b"\xff" * 10_000)
    for _ in range(10):
        assert ears.lines() == []
    with path.open("ab") as file:
        file.write(b"\npower off\n")
    heard = [line for _ in range(3) for line in ears.lines()]
    assert heard[-1] == "power off"


def test_a_layout_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    layout = small_layout(seed=9)
    path = tmp_path / "rack.toml"
    path.write_text(layout.toml(), encoding="utf-8")
    assert load_layout(path) == layout


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("warm_tau_s", "warm_tau", r"enclosure\[1\].warm_tau: Unexpected"),
        ('node = "shelf"', 'node = "cellar"', "hangs on node 'cellar'"),
        ('enclosure = "left shelf"', 'enclosure = "attic"', "lies in 'attic'"),
        ('zone = "room"', 'zone = "hide"', "needs an enclosure"),
        ("[[node]]", "[[node", "not TOML"),
    ],
)
def test_a_layout_that_cannot_be_is_one_line(tmp_path: Path, old: str, new: str, says: str) -> None:
    path = tmp_path / "rack.toml"
    path.write_text(small_layout().toml().replace(old, new), encoding="utf-8")
    with pytest.raises(BadSettings, match=says) as caught:
        load_layout(path)
    assert "\n" not in str(caught.value)
    with pytest.raises(BadSettings, match="cannot be read"):
        load_layout(tmp_path / "none.toml")
