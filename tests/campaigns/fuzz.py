"""Every decoder against mutated input: `python -m tests.campaigns.fuzz [--cases N] [TARGET…]`.

Each case is made from good input by a seeded mutator, and must give a result or one of the
declared errors, each of one line; nothing may hang (10 s of work) or fill the memory. With
`--guided` atheris looks for new ways through our code instead, from the same good input (it is not
among the test packages, having no wheels for every machine: `.venv/bin/pip install atheris`).
Prints a JSON line a target; exits with 1 on a fault.
"""

from __future__ import annotations

import argparse
import gc
import json
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType, FunctionType
from typing import NoReturn

from tests.campaigns.fuzz_targets import Target, targets

HANGS_S = 10.0
"""Of work of this process, whatever else the machine does: our own choice, for a small board."""
OWN = ("analysis", "collector", "config")
"""The packages in which new ways are looked for."""
_LONGEST_TOLD = 120
_LONGEST_CASE = 200_000
_LONGEST_FAULT = 2_000

TOKENS = (
    b"NaN", b"Infinity", b"-Infinity", b"1e400", b"-1e-400", b"9" * 400, b"0x10", b"1_000", b"-0.0",
    b"\0", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\\ud800", b"\\u0000",
    b"\xf4\x90", b"[[[[", b"{{", b"]]", b'"', b"'", b"\\", b",", b";", b"\t", b"\n", b"\r", b"\r\n",
    b"*", b"#", b"+", b"/", b"~0", b"~2", b"/-", b"..", b"true", b"null", b"[]", b"{}", b'"n":',
    b'"bt":1e308,', b"_",
    b"1970-01-01T00:00:00Z", b"9999-12-31T23:59:60+23:59", b"0000-00-00", b"2028-02-29", b"=cmd()",
    "٣".encode(), "²".encode(), "ſ".encode(), "\u202e".encode(), "\u2028".encode(), b"\x1b[2J",
)  # fmt: skip


def extremes(longest: int) -> Iterator[bytes]:
    """What is far beyond anything meant, up to `longest` bytes."""
    yield b""
    for octets in (
        b"[",
        b'{"a":',
        b"[[],",
        b'[{"n":',
        b"a=[",
        b"a.",
        b"[a.",
        b"(",
        b'"',
        b"\n",
        b"\0",
    ):
        yield octets * (min(longest, 100_000) // len(octets))
    for octets in (b"9", b"x", b"\0", b",", b"\xff", b" "):
        yield octets * longest
    yield b"[" + b"9" * longest + b"]"
    yield b'[{"n":"' + b"n" * longest + b'","u":"Cel","v":1}]'
    yield b"[" + b'{"n":"x","u":"Cel","v":1},' * (longest // 30) + b'{"n":"x","u":"Cel","v":1}]'
    yield b'"' + b"\\ud800" * (longest // 6) + b'"'


class Mutator:
    """Makes cases from good input; the same ones for the same seed."""

    def __init__(self, seeds: Sequence[bytes], seed: int) -> None:
        self._seeds = seeds
        self._chance = random.Random(seed)

    def case(self) -> bytes:
        """The next one."""
        chance = self._chance
        if chance.random() < 0.02:
            return chance.randbytes(chance.randrange(200))
        case = chance.choice(self._seeds)
        for _ in range(chance.choice((1, 1, 2, 3, 8))):
            case = self._changed(case)
        return case[:_LONGEST_CASE]

    def _changed(self, case: bytes) -> bytes:  # noqa: PLR0911  # a way to change it each
        chance = self._chance
        at = chance.randrange(len(case) + 1)
        end = min(len(case), at + chance.choice((1, 1, 2, 4, 8, 64)))
        match chance.randrange(9):
            case 0:  # a bit
                flipped = bytes((case[at] ^ 1 << chance.randrange(8),)) if at < len(case) else b""
                return case[:at] + flipped + case[at + 1 :]
            case 1:
                return case[:at] + bytes((chance.randrange(256),)) + case[at + 1 :]
            case 2:
                return case[:at] + case[end:]
            case 3:
                return case[:at] + case[at:end] * chance.choice((2, 2, 3, 300)) + case[end:]
            case 4:
                other = chance.choice(self._seeds)
                return case[:at] + other[chance.randrange(len(other) + 1) :]
            case 5:
                return case[:at]
            case 6:
                return case[:at] + str(chance.randrange(-(2**70), 2**70)).encode() + case[end:]
            case _:
                return (
                    case[:at] + chance.choice(TOKENS) + case[end if chance.random() < 0.5 else at :]
                )


class HangsError(BaseException):
    """A case took too long."""


@dataclass(slots=True)
class Account:
    """What came of the cases of one target."""

    target: str
    cases: int = 0
    refused: int = 0
    faults: list[str] = field(default_factory=list)
    more_mb: float = 0.0

    def try_one(self, target: Target, case: bytes) -> None:
        """One case; what must not be is noted."""
        self.cases += 1
        signal.setitimer(signal.ITIMER_VIRTUAL, HANGS_S)
        try:
            target.take(case)
        except target.declared as fault:
            self.refused += 1
            text = str(fault)
            if "\n" in text or len(text) > _LONGEST_FAULT:
                self._note(case, f"says more than a line: {text[:_LONGEST_TOLD]!r}")
        except HangsError:
            self._note(case, f"works on it for more than {HANGS_S:.0f} s")
        except Exception as fault:  # noqa: BLE001  # that is what is looked for
            self._note(case, f"{type(fault).__name__}: {fault!s:.200}")
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)

    def _note(self, case: bytes, what: str) -> None:
        if len(self.faults) < 20:
            shown = repr(case[:_LONGEST_TOLD]) + ("…" if len(case) > _LONGEST_TOLD else "")
            self.faults.append(f"{shown} ({len(case)} bytes): {what}")


@contextmanager
def watched() -> Iterator[None]:
    """While here, a timer of work ends what hangs."""

    def hangs(_number: int, _frame: FrameType | None) -> None:
        raise HangsError

    before = signal.signal(signal.SIGVTALRM, hangs)
    try:
        yield
    finally:
        signal.signal(signal.SIGVTALRM, before)


def most_mb() -> float:
    """The most memory this process ever had, MB (10^6 bytes); Linux says it in KiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def campaign(target: Target, cases: int, seed: int, longest: int | None = None) -> Account:
    """All extremes (up to `longest` bytes, else what the target may meet), then `cases` mutated
    ones. `more_mb` is of the mutated ones alone: what is 10 MB long may take some room."""
    account, mutator = Account(target.name), Mutator(target.seeds, seed)
    with watched():
        for case in (*target.seeds, *extremes(longest or target.longest)):
            account.try_one(target, case)
        before_mb = most_mb()
        for _ in range(cases):
            account.try_one(target, mutator.case())
    account.more_mb = most_mb() - before_mb
    return account


def guided(target: Target, cases: int, seed: int, folder: Path) -> NoReturn:
    """Let atheris choose the cases by what of our code they reach; ends the process."""
    import atheris  # type: ignore[import-not-found,import-untyped,unused-ignore]  # optional

    for one in gc.get_objects():
        if isinstance(one, FunctionType) and str(one.__module__).partition(".")[0] in OWN:
            atheris.instrument_func(one)
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, one in enumerate(target.seeds):
        (corpus / str(number)).write_bytes(one)

    def take(case: bytes) -> None:
        try:
            target.take(case)
        except target.declared:
            return

    limits = (f"-atheris_runs={cases}", f"-seed={seed}", "-max_len=4096", "-timeout=10")
    kept = f"-artifact_prefix={folder}/"
    atheris.Setup([sys.argv[0], *limits, kept, "-rss_limit_mb=1000", str(corpus)], take)
    atheris.Fuzz()
    raise AssertionError("atheris ends the process")


def by_chance(target: Target, cases: int, seed: int) -> dict[str, object]:
    """A target's line, by mutations."""
    began_s = time.perf_counter()
    account = campaign(target, cases, seed)
    return {
        "target": account.target, "cases": account.cases, "refused": account.refused,
        "faults": account.faults, "more_mb": round(account.more_mb, 1),
        "seconds": round(time.perf_counter() - began_s, 1),
    }  # fmt: skip


def by_guide(name: str, cases: int, seed: int) -> dict[str, object]:
    """A target's line, from a process of its own."""
    command = [sys.executable, "-m", "tests.campaigns.fuzz", name, "--guided", "--alone"]
    began_s = time.perf_counter()
    ran = subprocess.run(
        [*command, f"--cases={cases}", f"--seed={seed}"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    reached = re.findall(r"cov: (\d+)", ran.stderr)
    return {
        "target": name, "cases": cases, "guided": True,
        "branches": int(reached[-1]) if reached else 0,
        "faults": [] if ran.returncode == 0 else [ran.stderr[-2_000:]],
        "seconds": round(time.perf_counter() - began_s, 1),
    }  # fmt: skip


def main() -> int:
    """One line a target."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.fuzz")
    parser.add_argument("target", nargs="*")
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--guided", action="store_true", help="by atheris, which is not locked")
    parser.add_argument("--alone", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    worst = 0
    with tempfile.TemporaryDirectory() as folder, targets(Path(folder)) as every:
        for target in (one for group in every.values() for one in group):
            if given.target and target.name not in given.target:
                continue
            if given.alone:
                guided(target, given.cases, given.seed, Path(folder))
            if given.guided:
                line = by_guide(target.name, given.cases, given.seed)
            else:
                line = by_chance(target, given.cases, given.seed)
            sys.stdout.write(json.dumps(line) + "\n")
            sys.stdout.flush()
            worst = max(worst, bool(line["faults"]))
    return worst


if __name__ == "__main__":
    sys.exit(main())
