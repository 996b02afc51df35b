"""Files to take away: their names as a browser is told them, and cells that no spreadsheet runs."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from urllib.parse import quote

from starlette.responses import Response

from analysis.words import plain

_LONGEST_NAME = 80
_NOT_IN_A_NAME = re.compile(r'[/\\:*?"<>|%;\x00-\x1f\x7f]+')
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")


def as_file(content: bytes | str, name: str, media_type: str) -> Response:
    """A file that the browser keeps under `name`."""
    return Response(content, media_type=media_type, headers=kept_as(name))


def kept_as(name: str) -> dict[str, str]:
    """The header that names a file (RFC 6266): in ASCII, and in full (RFC 8187, RFC 5987 before).

    What could lead out of a folder, or end the header, is no part of either.
    """
    full = file_name(name)
    ascii_name = re.sub(r"[^A-Za-z0-9._ -]+", "-", full)
    full_name = quote(full, safe="!#$&+^`|~")
    both = f"attachment; filename=\"{ascii_name}\"; filename*=UTF-8''{full_name}"
    return {"content-disposition": both}


def file_name(name: str) -> str:
    """A name that is a file's name on any system, its suffix kept: "Maren meal 12.csv"."""
    stem, dot, suffix = _NOT_IN_A_NAME.sub("-", plain(name)).rpartition(".")
    stem = stem.strip(". -")[:_LONGEST_NAME].strip(". -") or "warmcoil"
    return f"{stem}{dot}{suffix}"


def harmless(cell: str) -> str:
    """A text cell as a spreadsheet shows it and does not run it: with an apostrophe before what it
    would take for a formula (OWASP, CSV injection; from memory). Numbers stay numbers."""
    if cell.startswith(_RUNS) and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return cell


def harmless_rows(rows: Iterable[Iterable[str]]) -> Iterator[list[str]]:
    """The same of rows."""
    for row in rows:
        yield [harmless(cell) for cell in row]


def csv_text(rows: Iterable[Iterable[str]]) -> str:
    """Rows as CSV (RFC 4180)."""
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()
