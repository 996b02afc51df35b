"""The watch stays light: what its process must never load (each costs 10 to 80 MB)."""

from __future__ import annotations

import subprocess
import sys

HEAVY = {"pandas", "numpy", "scipy", "matplotlib", "apprise", "requests", "typer", "rich",
         "influxdb_client", "paho", "serial", "_ssl", "_hashlib"}  # fmt: skip


def loaded_by(statement: str) -> set[str]:
    code = (
        f"{statement}; import sys; "
        "print(*{name.split('.')[0] for name, module in sys.modules.items() if module})"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.split())


def test_the_watch_loads_nothing_heavy() -> None:
    loaded = loaded_by("import analysis.watch.__main__")
    assert "apscheduler" in loaded
    assert loaded & HEAVY == set()


def test_with_an_influxdb_it_can_make_connections() -> None:
    loaded = loaded_by(
        "import analysis.watch.__main__; from analysis.watch import process; "
        "process._let_connections_be_made(); import influxdb_client"
    )
    assert {"influxdb_client", "ssl", "_ssl"} <= loaded


def test_the_delivery_loads_apprise_only_when_it_delivers() -> None:
    assert loaded_by("import analysis.watch.deliver") & HEAVY <= {"_hashlib"}
    assert "apprise" in loaded_by("import analysis.watch.sender")
