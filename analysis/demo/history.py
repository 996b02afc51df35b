"""The readings of the story, as CSV: one process per part of the rack, so that two cores help.

    python -m analysis.demo.history --part N --days D --until-ms T --seed S --out FILE

Prints a line with how many days are written, now and then, for a progress bar.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from analysis.demo import collection as c
from analysis.demo.calendar import DAY_MS, MINUTE_MS, Calendar
from analysis.demo.story import Story, write_story
from collector.measured import UNIT_OF
from collector.readings import Quantity
from collector.rfc3339 import written
from hardware.rack.faults import Script
from hardware.rack.rack import Rack
from hardware.rack.room import Room

PARTS: tuple[tuple[c.DemoProbe, ...], ...] = (
    (c.OAK_WARM, c.OAK_COOL, c.OAK_HIDE),
    (c.TANSY_WARM, c.TANSY_COOL, c.TANSY_HIDE),
    (c.LEFT_WARM, c.LEFT_COOL, c.ROOM_PROBE),
    (c.RIGHT_WARM, c.RIGHT_COOL_OLD, c.RIGHT_COOL),
)
"""Which probes' readings each part holds; enclosures do not touch each other."""

_LATELY_DAYS = 60
_OFTEN_MS = 2 * MINUTE_MS
_SELDOM_MS = 5 * MINUTE_MS
_UNIT = {quantity: UNIT_OF[quantity] for quantity in Quantity}


def reading_times(calendar: Calendar) -> Iterator[int]:
    """Every 5 minutes at first, every 2 in the last 60 days: the keeper changed the setting."""
    lately_ms = calendar.now_ms - _LATELY_DAYS * DAY_MS
    at_ms = calendar.start_ms
    while at_ms < calendar.now_ms:
        yield at_ms
        at_ms += _OFTEN_MS if at_ms >= lately_ms else _SELDOM_MS


def write_readings(
    story: Story, part: int, out: Path, times: Iterable[int] | None = None
) -> Iterator[int]:
    """Write one part's readings to `out`, at `times` in their order or as the demo does.

    Yields the days done so far, now and then.
    """
    rack = _rack(story, part)
    days = 0
    with out.open("w", encoding="utf-8", newline="") as file:
        file.write("time,probe,quantity,value,unit\r\n")
        for at_ms in reading_times(story.calendar) if times is None else times:
            rack.advance(at_ms)
            stamp = written(at_ms)
            file.writelines(
                f"{stamp},{s.probe},{s.quantity.value},{s.value},{_UNIT[s.quantity]}\r\n"
                for s in rack.read()
            )
            done = (at_ms - story.calendar.start_ms) // DAY_MS
            if done > days:
                days = done
                yield days
    yield story.calendar.days


def _rack(story: Story, part: int) -> Rack:
    mine = {probe.probe: probe for probe in PARTS[part]}
    seats = [seat for seat in story.seats if seat.probe in mine]
    needed = {seat.enclosure for seat in seats}
    layout = story.layout_now()
    return Rack(
        seed=story.seed,
        room=Room(story.seed, layout.room),
        enclosures=[e for e in c.ENCLOSURES if e.name in needed],
        probes=[p.build() for p in mine.values()],
        seats=seats,
        script=Script(story.faults),
        start_ms=story.calendar.start_ms,
    )


def main() -> int:
    """Write one part."""
    parser = argparse.ArgumentParser(description="Write a part of the demo's readings.")
    parser.add_argument("--part", type=int, choices=range(len(PARTS)), required=True)
    parser.add_argument("--days", type=int, required=True)
    parser.add_argument("--until-ms", type=int, required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    story = write_story(Calendar(options.until_ms, options.days), options.seed)
    for days in write_readings(story, options.part, options.out):
        sys.stdout.write(f"{days}\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
