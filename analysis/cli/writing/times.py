"""Times on the command line: one option takes "yesterday 20:30", or no time at all for "now"."""

from __future__ import annotations

from typing import Any, Final

from typer.core import TyperCommand

from analysis.moments import looks_like_clock, looks_like_day, looks_like_time

WITHOUT: Final = {"--taken": "now", "--removed": "now", "--out": "now", "--correct": "last"}
"""Options that may stand without a time, and what they mean then."""
WITH: Final = ("--when", "--offered", "--since", "--until")


class TimedCommand(TyperCommand):
    """A command whose times need no quotes."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words of the command line, those of one time put together.

        The library gives its context no public name of its own, hence Any.
        """
        rest: list[str] = super().parse_args(ctx, joined(args))
        return rest


def joined(words: list[str]) -> list[str]:
    """The words with those of one time put together, and "now" where one may be left out."""
    rest, done = list(words), []
    while rest:
        word = rest.pop(0)
        done.append(word)
        if word == "--":
            break
        if word in WITHOUT and not (rest and looks_like_time(rest[0])):
            done.append(WITHOUT[word])
        elif word in WITHOUT or (word in WITH and rest and looks_like_time(rest[0])):
            done.append(_one_time(rest))
    return done + rest


def _one_time(rest: list[str]) -> str:
    time = rest.pop(0)
    if looks_like_day(time) and rest and looks_like_clock(rest[0]):
        time = f"{time} {rest.pop(0)}"
    if rest and rest[0].lower() in ("am", "pm"):
        time += rest.pop(0)
    return time
