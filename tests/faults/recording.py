"""What a process does to the files of a folder, call by call, as the kernel saw it (by strace)."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

SOURCES = Path(__file__).parents[2]
needs_strace = pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")

CHANGES = (
    "openat,pwrite64,write,pwritev,writev,ftruncate,truncate,fallocate,fsync,fdatasync,rename,"
    "renameat,renameat2,unlink,unlinkat,mkdir,rmdir,sendfile,copy_file_range,lseek"
)
_PART = re.compile(r'(?P<fd>\d+|AT_FDCWD)<(?P<path>[^>]*)>(?P<gone>\(deleted\))?|"(?P<text>[^"]*)"')
_LASTING = {
    "pwrite64", "write", "ftruncate", "fsync", "fdatasync", "rename", "unlink", "mkdir", "rmdir",
    "sendfile",
}  # fmt: skip
_WRITES = {"write", "pwrite64", "sendfile"}
_RENAMES = {"rename", "renameat", "renameat2"}
_KINDS = {
    "fsync": "sync", "fdatasync": "sync", "ftruncate": "cut", "truncate": "cut", "mkdir": "folder",
    "unlink": "unlink", "unlinkat": "unlink", "rmdir": "unlink",
}  # fmt: skip
_LINE = re.compile(r"(\d+) +(\d+\.\d+) (.*)")
_CALL = re.compile(r"(\w+)\((.*)\) += (-?\d+)(?:<([^>]*)>)?")


@dataclass(frozen=True, slots=True)
class Event:
    """One call that succeeded. What is not of its kind is empty.

    kind: open, made, write, cut, sync, rename, unlink, folder, or said (to standard output).
    """

    kind: str
    path: str
    at_s: float
    octets: bytes = b""
    offset: int = 0
    size: int = 0
    to: str = ""


def run_recorded(command: Sequence[str], log: Path, timeout_s: float = 100) -> str:
    """Run a command to its end under strace; what it said."""
    done = subprocess.run(
        [*recorded(log), *command],
        capture_output=True, timeout=timeout_s, cwd=SOURCES, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def calls_of(log: Path) -> list[tuple[str, int]]:
    """Every call that changed something, of the first thread: its name, and the how-manieth."""
    counts: Counter[str] = Counter()
    made = []
    first = ""
    for line in log.read_text("ascii").splitlines():
        found = _LINE.match(line)
        if found is None:
            continue
        first = first or found[1]
        name = found[3].partition("(")[0]
        if found[1] == first and name in _LASTING:
            counts[name] += 1
            made.append((name, counts[name]))
    return made


def run_killed(command: Sequence[str], name: str, nth: int, timeout_s: float = 100) -> bool:
    """Run a command and SIGKILL it as it enters its nth call of that name; False if it ended."""
    done = subprocess.run(
        ["strace", "-f", "-o", "/dev/null", "-e", f"trace={name}",  # (with a filter no kill)
         "-e", f"inject={name}:signal=SIGKILL:when={nth}", *command],
        capture_output=True, timeout=timeout_s, cwd=SOURCES, text=True, check=False,
    )  # fmt: skip
    assert done.returncode in {0, -signal.SIGKILL}, done.stderr
    return done.returncode != 0


def recorded(log: Path) -> list[str]:
    """The words before a command that have its calls written to `log`."""
    return [
        "strace", "-f", "--seccomp-bpf", "-y", "-xx", "-ttt", "-s", "4000000",
        "-e", f"trace={CHANGES}", "-o", str(log),
    ]  # fmt: skip


def script(text: str, *arguments: str) -> list[str]:
    """A command: this text, run by this Python."""
    return [sys.executable, "-c", text, *arguments]


def events(log: Path, folder: Path) -> Iterator[Event]:
    """What was done below `folder`, and what was said, in the order in which it was done."""
    listener = _Listener(str(folder))
    for call in _calls(log):
        yield from listener.hear(call)


@dataclass(frozen=True, slots=True)
class _Call:
    at_s: float
    name: str
    arguments: str
    count: int
    opened: str

    def parts(self) -> list[re.Match[str]]:
        """The arguments that are files or texts."""
        return list(_PART.finditer(self.arguments))

    def texts(self) -> list[str]:
        return [part["text"] for part in self.parts() if part["text"] is not None]

    def last(self) -> int:
        """The number that ends the arguments: a size, or from where on."""
        return int(self.arguments.rpartition(",")[2])


def _calls(log: Path) -> Iterator[_Call]:
    begun: dict[str, str] = {}
    for line in log.read_text("ascii").splitlines():
        found = _LINE.match(line)
        if found is None:
            continue
        process, seconds, text = found.groups()
        if text.endswith("<unfinished ...>"):
            begun[process] = text.removesuffix("<unfinished ...>").rstrip()
            continue
        if text.startswith("<... "):
            text = begun.pop(process) + text.partition(" resumed>")[2]
        call = _CALL.match(text)
        if call is not None and int(call[3]) >= 0:
            yield _Call(float(seconds), call[1], call[2], int(call[3]), _plain(call[4] or ""))


class _Listener:
    """Makes events of calls; remembers how far each file was written."""

    def __init__(self, below: str) -> None:
        self._below = below
        self._at: dict[str, int] = {}

    def hear(self, call: _Call) -> Iterator[Event]:
        path, part = self._path(call)
        if not path.startswith(self._below):
            if call.name == "write" and part["fd"] == "1":
                yield Event("said", "", call.at_s, _octets(call.texts()[0])[: call.count])
        elif part["gone"]:
            return  # deleted, and still open
        elif call.name == "openat":
            yield from self._opened(call)
        elif call.name in _WRITES:
            yield self._written(call, path)
        elif call.name == "lseek":
            self._at[path] = call.count
        elif call.name in _RENAMES:
            yield Event("rename", path, call.at_s, to=_plain(call.texts()[1]))
        elif call.name != "fallocate":  # of the index of a write-ahead file, which is made anew
            kind = _KINDS[call.name]
            yield Event(kind, path, call.at_s, size=call.last() if kind == "cut" else 0)

    @staticmethod
    def _path(call: _Call) -> tuple[str, re.Match[str]]:
        first = call.parts()[0]
        if call.name == "openat":
            return call.opened, first
        if first["fd"] is None or call.name in _RENAMES:
            return _plain(call.texts()[0]), first
        if call.name == "unlinkat":
            return str(Path(_plain(first["path"]), _plain(call.texts()[0]))), first
        return _plain(first["path"]), first

    def _opened(self, call: _Call) -> Iterator[Event]:
        self._at[call.opened] = 0
        if "O_CREAT" in call.arguments:
            yield Event("made", call.opened, call.at_s)
        if "O_TRUNC" in call.arguments:
            yield Event("cut", call.opened, call.at_s)

    def _written(self, call: _Call, path: str) -> Event:
        at = self._at.get(path, 0)
        if call.name == "pwrite64":
            return Event("write", path, call.at_s, _octets(call.texts()[0]), call.last())
        self._at[path] = at + call.count
        if call.name == "write":
            return Event("write", path, call.at_s, _octets(call.texts()[0])[: call.count], at)
        source = _plain(call.parts()[1]["path"])
        return Event("copy", path, call.at_s, offset=at, size=call.count, to=source)


def _octets(text: str | None) -> bytes:
    return bytes.fromhex((text or "").replace("\\x", ""))


def _plain(text: str) -> str:
    return _octets(text).decode() if text.startswith("\\x") else text
