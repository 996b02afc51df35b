"""How a validation fault reads as one line."""

from __future__ import annotations

from pydantic import ValidationError

_MOST = 3


def one_line(fault: ValidationError) -> str:
    """Say the first few faults in one line: where, and why."""
    errors = fault.errors(include_url=False)
    texts = [f"{_where(e['loc'])}: {_why(e['type'], str(e['msg']))}" for e in errors[:_MOST]]
    more = f"; and {len(errors) - _MOST} more" if len(errors) > _MOST else ""
    return "; ".join(texts) + more


def _where(loc: tuple[int | str, ...]) -> str:
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text or "the file"


def _why(kind: str, message: str) -> str:
    if kind == "extra_forbidden":
        return "no such setting; check the spelling against the commented example"
    return message.removeprefix("Value error, ").replace("\n", " ")
