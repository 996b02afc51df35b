"""What a benchmark says of a command is the command's, not the benchmark's own."""

import subprocess
import sys

import pytest

from tests.benchmarks.figures import run

OWN_MB = 200


def test_the_most_memory_is_the_commands_own() -> None:
    own = bytearray(OWN_MB * 1_000_000)
    ran = run([sys.executable, "-c", "print('heard', end='')"])
    assert len(own) > ran.most_mb * 1_000_000
    assert 2 < ran.most_mb < OWN_MB / 2
    assert ran.output == b"heard"
    assert 0 < ran.cpu_s <= ran.seconds * 2


def test_a_command_that_fails_is_no_figure() -> None:
    with pytest.raises(subprocess.CalledProcessError, match="false"):
        run(["false"])
