"""A day of the simulated year: every fault raised, nothing false, the same after restarts."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns.keepers_room import ALL, KINDS, Fault
from tests.campaigns.year import Run, account, counts, simulate, story, transitions

EXPECTS = {name: (expects, within) for name, _, expects, within in KINDS}


def fault(name: str, enclosure: int, from_min: int, minutes: int) -> Fault:
    expects, within = EXPECTS[name]
    return Fault(name, enclosure, from_min, minutes, expects, within)


FAULTS = [
    fault("heater dead", 3, 200, 240),
    fault("probe unplugged", 5, 260, 90),
    fault("collector dead", ALL, 800, 45),
    fault("probe doubted", 7, 1_050, 60),
]


def run(folder: Path, restart_seed: int = 0) -> Run:
    done = simulate(folder / "home", 1, 11, step_min=10, restart_seed=restart_seed, faults=FAULTS)
    done.kill()
    return done


@pytest.mark.timeout(240)
def test_a_day_with_four_faults_with_and_without_restarts(tmp_path: Path) -> None:
    plain = transitions(run(tmp_path / "plain").home)
    found = account(plain, FAULTS)
    assert [(fault.name, delay is not None) for fault, delay in found.delays] == [
        (fault.name, True) for fault in FAULTS
    ]
    assert found.false == []
    interrupted = run(tmp_path / "interrupted", restart_seed=5)
    assert interrupted.restarts >= 3
    again = transitions(interrupted.home)
    assert story(again) == story(plain)
    assert counts(again) == counts(plain)
