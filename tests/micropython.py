"""Real MicroPython for the tests: its unix port, as a wheel or as the Debian package."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]


def micropython_path() -> str:
    """Where it is; the test is skipped where it is not installed."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("MicroPython is not installed (Debian package micropython, or its wheel)")
    return found


def run(source: str, asked: object = None, timeout_s: float = 60.0) -> Any:
    """Run a program under MicroPython, in the project's folder; what it printed as JSON.

    `asked` is on its standard input, as JSON: an argument has 255 bytes at most there.
    """
    done = subprocess.run(
        [micropython_path(), "-c", source],
        cwd=ROOT,
        input=json.dumps(asked),
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return json.loads(done.stdout)
