"""Writes the table of promises in DEVELOPERS.md: `python -m tests.faults.table LINES [DOCUMENT]`.

LINES is what `make promises` wrote: a JSON object a line, see `record`. Exits with 1 and names
them where a promise was not tried at all.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from tests.faults.record import Promise
from tests.tables import DEVELOPERS, lines_of, put, table


def main(arguments: Sequence[str]) -> int:
    """Write the table."""
    told = lines_of(Path(arguments[0]))
    put("promises", rows(told), Path(arguments[1]) if len(arguments) > 1 else DEVELOPERS)
    untried = sorted({str(one) for one in Promise} - {str(line["promise"]) for line in told})
    for one in untried:
        sys.stderr.write(f"not tried: {one}\n")
    return 1 if untried else 0


def rows(told: Sequence[Mapping[str, object]]) -> Iterator[str]:
    """A row a promise and fault, in the order of the promises."""
    order = {str(one): place for place, one in enumerate(Promise)}
    lines = sorted(told, key=lambda line: (order[str(line["promise"])], str(line["fault"])))
    cells = [
        (
            str(line["promise"]),
            str(line["fault"]),
            f"{line['tried']:,}",
            f"{line['lost']:,} {line['of']}".strip(),
            str(line["note"]),
        )
        for line in lines
    ]
    return table(("promise", "fault", "times", "lost", "beside"), cells)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
