"""How a validation fault reads as one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import ValidationError

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

_MOST = 3
_MOST_SHOWN = 40


def one_line(fault: ValidationError) -> str:
    """Say the first few faults in one line: where, and why."""
    errors = fault.errors(include_url=False)
    texts = [f"{_where(e['loc'])}: {_why(e)}" for e in errors[:_MOST]]
    more = f"; and {len(errors) - _MOST} more" if len(errors) > _MOST else ""
    return "; ".join(texts) + more


def _where(loc: tuple[int | str, ...]) -> str:
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text or "the file"


def _why(fault: ErrorDetails) -> str:
    message = str(fault["msg"])
    if fault["type"] == "extra_forbidden":
        return "no such setting; check the spelling against the commented example"
    if fault["type"] == "literal_error":  # one word of a few: no secret
        given = repr(fault["input"])[:_MOST_SHOWN]
        return f"{given} cannot be; write {message.removeprefix('Input should be ')}"
    return message.removeprefix("Value error, ").replace("\n", " ")
