"""Input that is broken, enormous or made to hurt: `tests.campaigns.fuzz` over every decoder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.campaigns.fuzz import campaign
from tests.campaigns.fuzz_targets import targets
from tests.faults.record import Promise, told

pytestmark = pytest.mark.timeout(7200)

MORE_MB = 60.0
"""That may stay after the extremes, which are up to 10 MB long; our own choice."""
GROUPS = (
    "from lines and brokers",
    "from the card",
    "from keepers and links",
    "in files that are imported or restored",
)


@pytest.mark.parametrize("group", GROUPS)
def test_mutated_input(tmp_path: Path, times: Callable[[int, int], int], group: str) -> None:
    cases, refused, more_mb, names = 0, 0, 0.0, []
    faults: list[str] = []
    with targets(tmp_path) as every:
        assert tuple(every) == GROUPS
        for target in every[group]:
            count = times(200, 1_000_000) if target.cheap else times(10, 10_000)
            account = campaign(target, count, seed=1, longest=times(10_000, target.longest))
            cases, refused = cases + account.cases, refused + account.refused
            faults += [f"{target.name}: {fault}" for fault in account.faults]
            more_mb = max(more_mb, account.more_mb)
            names.append(target.name)
    told(
        Promise.INPUT, f"mutated input {group}: {', '.join(names)}", tried=cases,
        lost=len(faults), of="not one line of error",
        note=f"{refused:,} refused; {more_mb:.0f} MB more",
    )  # fmt: skip
    assert faults == []
    assert more_mb < MORE_MB
    assert refused < cases  # some of it is good
