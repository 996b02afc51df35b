"""How a fault in a settings file or care profile reads as one line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from config.errors import BadSettings

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

_MOST = 3
_MOST_SHOWN = 40
_LONGEST_TEXT = 300


def toml_text(path: Path) -> str:
    """What stands in a TOML file. Raises BadSettings, one line, when it is no text to be read."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as fault:
        raise BadSettings(f"{path}: not UTF-8 text (byte {fault.start})") from fault
    except OSError as fault:
        raise BadSettings(f"{path}: cannot be read: {fault.strerror}") from fault


def toml_document(text: str, where: str) -> dict[str, Any]:
    """The document in a TOML text. Raises BadSettings, one line, which `where` begins."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as fault:  # a number of 5,000 digits is no TOMLDecodeError
        why = " ".join(str(fault)[:_LONGEST_TEXT].split())
        raise BadSettings(f"{where}: not TOML: {why}{_hint(why)}") from fault


def _hint(fault: str) -> str:
    """What to do about a fault that the commented example leads into."""
    if "twice" in fault or "overwrite" in fault:
        return "; a [part] stands in the file once: write under the one that is there already"
    return ""


def one_line(fault: ValidationError) -> str:
    """Say the first few faults in one line: where, and why."""
    errors = fault.errors(include_url=False)
    texts = [_short(f"{_where(e['loc'])}: {_why(e)}") for e in errors[:_MOST]]
    more = f"; and {len(errors) - _MOST} more" if len(errors) > _MOST else ""
    return "; ".join(texts) + more


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_TEXT else f"{text[:_LONGEST_TEXT]}…"


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
