"""`warmcoil`: the commands, and how every error becomes one line and an exit code."""

from __future__ import annotations

import os
import sqlite3
import sys

import typer

from analysis.cli import (
    alarms,
    archiving,
    calibrating,
    caretaking,
    enclosures,
    entry,
    exchange,
    feeding,
    judging,
    living,
    probing,
    taking_along,
    thinning,
    writing,
)
from config.errors import WarmcoilError

app = typer.Typer(
    name="warmcoil",
    help="Watches a boa's enclosure through every meal: was it warm enough for digestion?",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for room in (
    living,
    writing,
    exchange,
    judging,
    feeding,
    enclosures,
    taking_along,
    alarms,
    probing,
    calibrating,
    archiving,
    thinning,
    caretaking,
    entry,
):
    room.register(app)

# The error classes of the command-line library are reached through its public names, so that a
# library that moves them does not break us: BadParameter < UsageError < its root.
_USAGE_FAULT: type[Exception] = typer.BadParameter.__mro__[1]
_WRONG_USE = 2
_INTERRUPTED = 130


def main() -> int:
    """Run one command; return its exit code. Errors are one line on standard error."""
    try:
        return _run()
    except WarmcoilError as fault:
        return _say(str(fault), fault.exit_code)
    except sqlite3.OperationalError as fault:
        return _say(
            f"the home's files cannot be used just now: {fault}; is the disk full or "
            "read-only? try: warmcoil check",
            3,
        )
    except (typer.Abort, KeyboardInterrupt):
        return _say("stopped", _INTERRUPTED)
    except BrokenPipeError:
        # The reader of our output has gone (for example `| head`): nothing more to say to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as fault:
        return _say(f"{fault.filename or 'system'}: {fault.strerror or fault}", _WRONG_USE)


def _run() -> int:
    try:
        done = typer.main.get_command(app).main(prog_name="warmcoil", standalone_mode=False)
    except _USAGE_FAULT as fault:
        return _say(f"{_text(fault)}; see: warmcoil --help", _WRONG_USE)
    return done if isinstance(done, int) else 0


def _text(fault: Exception) -> str:
    formatted = getattr(fault, "format_message", None)
    return str(formatted() if callable(formatted) else fault).rstrip(".").replace("\n", " ")


def _say(text: str, code: int) -> int:
    sys.stderr.write(f"warmcoil: {text}\n")
    return code
