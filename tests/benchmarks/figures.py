"""How the benchmarks measure, and how they say it: one JSON line a figure.

A line has `figure`, `value` and `unit`; `goal` where there is one; and `beside`, what a user would
take instead or what cannot be beaten, measured in the same run, with `ratio`, our value through
that. On a machine that does other work too, trust the ratios.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

Line = dict[str, object]


def say(line: Mapping[str, object]) -> None:
    """Print one figure."""
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


def figure(
    name: str,
    value: float,
    unit: str,
    *,
    goal: str | None = None,
    beside: Mapping[str, float] | None = None,
    **more: object,
) -> Line:
    """A line: the value to four digits, and its ratio to each figure beside it."""
    line: Line = {"figure": name, **more, "value": _short(value), "unit": unit}
    if goal is not None:
        line["goal"] = goal
    if beside:
        line["beside"] = {what: _short(other) for what, other in beside.items()}
        line["ratio"] = {what: _short(value / other) for what, other in beside.items() if other}
    return line


def _short(value: float) -> float:
    return float(f"{value:.4g}")


def shortest_s(work: Callable[[], object], times: int = 10) -> float:
    """The shortest of so many runs: what the work takes when nothing disturbs it."""
    durations = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        durations.append(time.perf_counter() - began)
    return min(durations)


def written_bytes() -> int:
    """What this process has had written to disks, by the kernel's account of it."""
    counts = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(counts["write_bytes"])


def cpu_s(pid: int) -> float:
    """The processor seconds that a process has used, by the kernel's account of it."""
    after_name = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int) -> float:
    """The memory a process has in use now, in MB (10^6 bytes), by the kernel's account of it."""
    pages = int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@dataclass(frozen=True, slots=True)
class Ran:
    """What a process took: seconds on the clock and of processor, and its most memory."""

    seconds: float
    cpu_s: float
    most_mb: float
    output: bytes


def run(command: Sequence[str], **environment: str) -> Ran:
    """Run a command to its end. Raises CalledProcessError when it fails."""
    told, tells = os.pipe()
    with os.fdopen(told, encoding="ascii") as report:
        weigh = [sys.executable, "-I", "-S", str(Path(__file__).with_name("weigh.py")), str(tells)]
        try:
            ran = subprocess.run(
                [*weigh, *command],
                stdout=subprocess.PIPE, env={**os.environ, **environment},
                pass_fds=[tells], check=True,
            )  # fmt: skip
        finally:
            os.close(tells)
        took = json.load(report)
    return Ran(took["seconds"], took["cpu_s"], took["most_mb"], ran.stdout)


def forget_cached(folder: Path) -> None:
    """Have the kernel forget what it holds of the files there, so that they are read cold."""
    for path in folder.rglob("*"):
        if path.is_file():
            with open_for_reading(path) as number:
                os.fsync(number)
                os.posix_fadvise(number, 0, 0, os.POSIX_FADV_DONTNEED)


@contextmanager
def open_for_reading(path: Path) -> Iterator[int]:
    """The file's number, and closed again."""
    number = os.open(path, os.O_RDONLY)
    try:
        yield number
    finally:
        os.close(number)
