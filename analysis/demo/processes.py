"""The demo's processes: started on a leash, each with a log of its own, ended in order."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

_LOG_BYTES = 1_000_000


def leashed(command: Sequence[str]) -> list[str]:
    """The command so that it dies with this process, even when this one is killed."""
    return [sys.executable, "-m", "analysis.demo.leash", str(os.getpid()), *command]


def module(name: str, *options: str) -> list[str]:
    """The command that runs one of our own modules."""
    return [sys.executable, "-m", name, *options]


@dataclass(slots=True)
class Child:
    """One running process."""

    name: str
    process: subprocess.Popen[bytes]
    log: Path

    def last_words(self) -> str:
        """The last line it wrote, for when it ended and should not have."""
        lines = self.log.read_text(encoding="utf-8", errors="replace").split("\n")
        spoken = [line.strip() for line in lines if line.strip()]
        return spoken[-1] if spoken else "it said nothing"


@dataclass(slots=True)
class Family:
    """The processes of one demo, in the order in which they were started."""

    logs: Path
    patience_seconds: float = 8.0
    children: list[Child] = field(default_factory=list)

    def start(self, name: str, command: Sequence[str]) -> Child:
        """Start one. Call from the main thread: the leash is tied to the thread that starts."""
        self.logs.mkdir(parents=True, exist_ok=True)
        log = self.logs / f"{name}.log"
        _bound(log)
        with log.open("ab") as out:
            process = subprocess.Popen(  # noqa: S603  # our own commands
                leashed(command),
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                # A session of its own: Ctrl-C reaches the demo alone, which ends them in order.
                start_new_session=True,
            )
        child = Child(name, process, log)
        self.children.append(child)
        return child

    def dead(self) -> Child | None:
        """One that has ended by itself, if any has."""
        return next((c for c in self.children if c.process.poll() is not None), None)

    def end(self) -> None:
        """End them all, the last started first, so that each can still speak to those below it."""
        for child in reversed(self.children):
            _end(child.process, self.patience_seconds)
        self.children.clear()


def _end(process: subprocess.Popen[bytes], patience_seconds: float) -> None:
    if process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(patience_seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _bound(log: Path) -> None:
    """Keep one older log at most, so that demos started over and over fill no disk."""
    if log.exists() and log.stat().st_size > _LOG_BYTES:
        log.replace(log.with_suffix(".log.1"))
