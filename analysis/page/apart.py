"""What is drawn for the page, in a process of its own that ends: the page itself stays light.

One at a time, with a limit; who asks meanwhile waits, and is told so when it takes too long.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path

from config.errors import NotSo, StoreFault, Unusable, WarmcoilError
from config.home import Home

LIMIT_SECONDS = 180.0
"""Three years of sixteen probes take a fraction of it on a desk, most of it on a small board."""
_WAIT_SECONDS = 30.0
_ONE_AT_A_TIME = threading.Lock()
_OURS: dict[int, type[WarmcoilError]] = {1: NotSo, 2: Unusable, 3: StoreFault}
_LOG = logging.getLogger("page")


class NotMadeError(Exception):
    """It could not be made: one line for who asked."""


def made_apart(
    home: Home, module: str, arguments: Sequence[str], suffix: str, limit_s: float = LIMIT_SECONDS
) -> bytes:
    """What `python -m module` writes to its `--out`. Raises its own WarmcoilError, or NotMadeError.

    `arguments` are whole words such as "--animal=Maren": a name is never taken for an option.
    """
    if not _ONE_AT_A_TIME.acquire(timeout=min(limit_s, _WAIT_SECONDS)):
        raise NotMadeError("Another picture or paper is still being made. Try again in a minute.")
    try:
        with tempfile.TemporaryDirectory(prefix="warmcoil-") as folder:
            out = Path(folder) / f"made{suffix}"
            _run(home, module, arguments, out, limit_s)
            return out.read_bytes()
    finally:
        _ONE_AT_A_TIME.release()


def _run(home: Home, module: str, arguments: Sequence[str], out: Path, limit_s: float) -> None:
    try:
        done = subprocess.run(  # noqa: S603  # our own module, by name
            [sys.executable, "-m", module, f"--home={home.folder}", *arguments, f"--out={out}"],
            # The list of fonts, which it would otherwise keep in the keeper's own folder.
            env={**os.environ, "MPLCONFIGDIR": str(home.folder / "cache")},
            check=False, stdin=subprocess.DEVNULL, capture_output=True, timeout=limit_s,
        )  # fmt: skip
    except subprocess.TimeoutExpired as fault:
        raise NotMadeError(
            f"It took longer than {limit_s:.0f} s and was given up. Take a shorter period, or make "
            "it on the command line."
        ) from fault
    said = done.stderr.decode(errors="replace").strip().splitlines()
    if done.returncode in _OURS and len(said) == 1:
        raise _OURS[done.returncode](said[0])
    if done.returncode != 0 or not out.is_file():
        _LOG.error("%s ended with code %d: %s", module, done.returncode, "; ".join(said[-3:]))
        raise NotMadeError("It could not be made; the page's log says why. Nothing else is lost.")
