"""Tables in DEVELOPERS.md that a run writes, never a hand: from JSON lines, between two marks."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

DEVELOPERS = Path(__file__).resolve().parents[1] / "DEVELOPERS.md"


def lines_of(path: Path) -> list[dict[str, object]]:
    """The JSON objects of a file, one a line."""
    return [json.loads(line) for line in path.read_text("utf-8").splitlines() if line.strip()]


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """A table in Markdown, line by line."""
    yield f"| {' | '.join(heads)} |"
    yield "|" + "---|" * len(heads)
    for row in rows:
        yield f"| {' | '.join(cell.replace('|', '/') for cell in row)} |"


def put(name: str, lines: Iterable[str], document: Path = DEVELOPERS) -> None:
    """Replace what stands between `<!-- NAME: begin -->` and `<!-- NAME: end -->`.

    Raises ValueError when a mark is missing.
    """
    text = document.read_text("utf-8")
    begin, end = f"<!-- {name}: begin -->\n", f"<!-- {name}: end -->"
    before, found_begin, rest = text.partition(begin)
    _, found_end, after = rest.partition(end)
    if not (found_begin and found_end):
        raise ValueError(f"{document.name} has no marks for {name}: {begin.strip()} … {end}")
    written = "".join(f"{line}\n" for line in lines)
    document.write_text(f"{before}{begin}{written}{end}{after}", "utf-8")
