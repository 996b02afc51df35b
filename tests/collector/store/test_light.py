"""What the collector pays for its store before it has taken a reading."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SOURCES = Path(__file__).parents[3]

LOADED = """
import sys
import collector.store.journal, collector.store.sealing, collector.store.sqlite_archive
import collector.store.reader, collector.store.check, collector.store.repair
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmRSS")))
print(*sys.modules, sep="\\n")
"""


def test_the_store_loads_nothing_but_the_standard_library() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADED], cwd=SOURCES, capture_output=True, text=True, check=True
    )
    kilobytes, *modules = done.stdout.split()
    foreign = {name.partition(".")[0] for name in modules} - set(sys.stdlib_module_names)
    # Besides this project: what a virtual environment loads at every start.
    assert {name for name in foreign if not name.startswith(("_", "distutils"))} <= {
        "collector",
        "config",
    }
    assert int(kilobytes) < 25_000  # our own aim: 40 MB for the whole collector
