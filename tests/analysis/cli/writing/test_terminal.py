"""The commands as processes, and at a real terminal: questions are asked, y or n."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from collector.book.book import Book
from collector.book.records import Look, Ribs, Spine
from config.home import Home

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]
REPOSITORY = Path(__file__).parents[4]


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """One command in a process of its own, without a terminal."""
    return subprocess.run(
        [*WARMCOIL, *words, "--home", str(home)],
        capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False, timeout=60,
        cwd=REPOSITORY,
    )  # fmt: skip


def at_terminal(home: Path, *words: str, answers: str) -> tuple[int, str]:
    """One command at a terminal at which `answers` are typed; its exit code and the screen."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [*WARMCOIL, *words, "--home", str(home)],
        stdin=theirs, stdout=theirs, stderr=theirs, cwd=REPOSITORY,
    )  # fmt: skip
    os.close(theirs)
    os.write(ours, answers.encode())
    screen, until = b"", time.monotonic() + 60
    try:
        while time.monotonic() < until:
            if select.select([ours], [], [], 0.2)[0]:
                screen += os.read(ours, 65_536)
    except OSError:  # the other end is closed
        pass
    finally:
        os.close(ours)
    return process.wait(timeout=30), screen.decode()


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("terminal") / "home"
    for line in (
        ("init",),
        ("new", "enclosure", "shelf"),
        ("new", "animal", "Ombra", "--in", "shelf", "--since", "2024-01-01"),
        ("weigh", "1830g", "--when", "2025-03-03", "20:30"),
        ("meal", "--prey", "rat", "--mass", "220g", "--taken", "2025-03-05", "20:30"),
        ("meal", "1", "--outcome", "passed", "--when", "2025-03-14", "8:00"),
    ):
        done = run(folder, *line)
        assert (done.returncode, done.stderr) == (0, ""), line
    return folder


def masses(home: Path) -> list[float | None]:
    with Book(Home(home).book, read_only=True) as book:
        return [one.mass_g for one in book.weighings()]


def test_a_process_without_a_terminal_is_refused(home: Path) -> None:
    done = run(home, "weigh", "18300g", "--when", "2025-03-04", "20:30")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "10 times the 1,830 g" in done.stderr
    assert masses(home) == [1830.0]


@pytest.mark.parametrize("answer", ["n\n", "\n"])
def test_at_a_terminal_it_is_asked_and_no_is_the_default(home: Path, answer: str) -> None:
    words = ("weigh", "18300g", "--when", "2025-03-04", "20:30")
    code, screen = at_terminal(home, *words, answers=answer)
    assert code == 2
    assert "10 times the 1,830 g" in screen
    assert "Is that right? [y/N]" in screen
    assert "nothing was entered" in screen
    assert masses(home) == [1830.0]


def test_yes_enters_it(home: Path) -> None:
    words = ("weigh", "18300g", "--when", "2025-03-04", "20:30")
    code, screen = at_terminal(home, *words, answers="y\n")
    assert (code, "Weighing of Ombra" in screen) == (0, True)
    assert masses(home) == [1830.0, 18300.0]
    assert run(home, "undo").returncode == 0
    assert masses(home) == [1830.0]


def test_a_look_is_asked_for_part_by_part(home: Path) -> None:
    code, screen = at_terminal(home, "look", answers="sharp\nwhat\nfelt\n\n\n\n\n")
    assert code == 0, screen
    assert "stands out as a ridge" in screen
    assert "One of: seen, felt, buried." in screen
    with Book(Home(home).book, read_only=True) as book:
        (look,) = book.looks()
    assert look == Look("Ombra", look.at_ms, spine=Spine.SHARP, ribs=Ribs.FELT)


def test_entering_takes_no_numpy(home: Path) -> None:
    """In seconds, also on a small board: nothing heavy is loaded for it."""
    code = (
        "import sys; from analysis.cli import main\n"
        "sys.argv = ['warmcoil', *sys.argv[1:]]; code = main()\n"
        "print(sorted({'numpy', 'pandas', 'scipy', 'matplotlib'} & set(sys.modules)), code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "weigh", "1840g", "--home", str(home)],
        capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False, timeout=60,
        cwd=REPOSITORY,
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == "[] 0", done.stderr
