"""What the demo says when it is up: which meals to look at, and what to try."""

from __future__ import annotations

import json
import shlex
import shutil
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from rich.console import Console
from rich.table import Table

from analysis.demo.collection import LEFT, ZONE
from analysis.demo.draft import Highlight
from analysis.demo.places import DemoPlaces
from collector.book.book import Book
from config.settings import load_settings


@dataclass(frozen=True, slots=True)
class Sight:
    """A meal to look at: its number in the book, and the highlight."""

    meal: int
    highlight: Highlight


def save_highlights(highlights: Sequence[Highlight], path: Path) -> None:
    """Write them, for the next time this home is opened."""
    path.write_text(json.dumps([asdict(h) for h in highlights], indent=1), encoding="utf-8")


def sights(book: Book, path: Path) -> list[Sight]:
    """The highlights with their meals' numbers, newest first; those still in the book."""
    highlights = [Highlight(**entry) for entry in json.loads(path.read_text(encoding="utf-8"))]
    numbers = {(m.animal, m.taken_at_ms): m.meal for m in book.meals()}
    return [
        Sight(numbers[h.animal, h.taken_ms], h)
        for h in highlights
        if (h.animal, h.taken_ms) in numbers
    ]


def show(console: Console, places: DemoPlaces, found: Sequence[Sight], readings: int) -> None:
    """Print it."""
    table = Table(title="Meals worth a look", title_justify="left", box=None, pad_edge=False)
    for heading in ("meal", "animal", "taken", "what happened"):
        table.add_column(heading, justify="right" if heading == "meal" else "left")
    for sight in found:
        taken = datetime.fromtimestamp(sight.highlight.taken_ms / 1000, ZONE)
        table.add_row(
            str(sight.meal), sight.highlight.animal, f"{taken:%d %b %Y}", sight.highlight.text
        )
    console.print(table)
    console.print()
    page = load_settings(places.home).page
    console.print(f"The page: http://{page.host}:{page.port}", soft_wrap=True, highlight=False)
    console.print()
    console.print(f"{readings:,} readings so far, and more every few seconds. Try, elsewhere:")
    console.print()
    for line in _commands(places, found):
        console.print(f"  {line}", soft_wrap=True, highlight=False, markup=False)
    console.print()
    console.print("Ctrl-C ends it; the same command goes on with it later.")


def _commands(places: DemoPlaces, found: Sequence[Sight]) -> list[str]:
    home = shlex.quote(str(places.home.folder))
    tool = _tool()
    lines = [f"{tool} review --home {home}", f"{tool} probes --home {home}"]
    telling = [s.meal for s in found if s.highlight.telling]
    lines += [f"{tool} plot {meal} -o meal-{meal}.png --home {home}" for meal in telling]
    commands = shlex.quote(str(places.commands))
    lines += [
        f"{tool} export meals --home {home}",
        "",
        "# let a heater fail while a meal is under way there, hours passing as minutes; the watch",
        "# speaks up when it has been cold for ten minutes, longer than an opened door:",
        f'echo "heater off {LEFT}" >> {commands}; echo "pace 60" >> {commands}',
        f"tail -f {shlex.quote(str(places.logs))}/watch.log",
        f'echo "heater on {LEFT}" >> {commands}',
    ]
    return lines


def _tool() -> str:
    """How to call the tool from where the keeper is: it may not be on the PATH."""
    if shutil.which("warmcoil") is not None:
        return "warmcoil"
    called = Path(sys.argv[0])
    return shlex.quote(str(called)) if called.name == "warmcoil" else "warmcoil"
