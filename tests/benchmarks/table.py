"""Writes the table of figures in DEVELOPERS.md: `python -m tests.benchmarks.table LINES …`.

LINES are what the benchmarks printed: a JSON object a line, see `figures.figure`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.tables import lines_of, put, table

_OWN = {"figure", "value", "unit", "goal", "beside", "ratio"}


def main(arguments: Sequence[str]) -> int:
    """Write the table."""
    lines = [line for name in arguments for line in lines_of(Path(name))]
    put("figures", rows(lines))
    return 0


def rows(lines: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """A row a figure, in the order in which they were measured."""
    return table(
        ("figure", "of", "value", "goal", "beside (value ÷ it)"),
        [
            (
                str(line["figure"]),
                ", ".join(f"{name.replace('_', ' ')} {_plain(line[name])}" for name in _more(line)),
                f"{_plain(line['value'])} {line['unit']}".strip(),
                str(line.get("goal", "")),
                _beside(line.get("beside", {}), line.get("ratio", {})),
            )
            for line in lines
        ],
    )


def _more(line: Mapping[str, Any]) -> list[str]:
    return [name for name in line if name not in _OWN]


def _beside(beside: Mapping[str, float], ratio: Mapping[str, float]) -> str:
    return "; ".join(
        f"{name}: {_plain(value)}" + (f" ({_plain(ratio[name])})" if name in ratio else "")
        for name, value in beside.items()
    )


def _plain(value: object) -> str:
    """Three digits that count; whole numbers in groups of three."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return str(value)
    if abs(value) >= 1000 or float(value).is_integer():
        return f"{value:,.0f}"
    return f"{value:.3g}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
