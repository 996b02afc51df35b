"""What stands in a field, from a column of the book, and how it is read back.

A field that still says what it was shown with means the very value that stands in the book, also
where that has more figures than are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from analysis import amounts, moments
from analysis.entering.desk import Desk
from analysis.page.forms.typed import Typed
from analysis.words import GRAMS_PER_OUNCE, MM_PER_INCH, shown_temperature, temperature_unit
from collector.book.tables import FROM_TEXT
from config.errors import Unusable
from config.settings import Settings

_AMOUNTS: Final[Mapping[str, Callable[[str, Settings, str], float]]] = {
    "prey_mass_g": amounts.mass_g,
    "mass_g": amounts.mass_g,
    "prey_width_mm": amounts.width_mm,
    "midbody_mm": amounts.width_mm,
    "length_cm": amounts.length_cm,
    "prey_surface_c": amounts.temperature_c,
    "minutes": lambda text, _, name: amounts.minutes(text, name),
}


def shown(column: str, value: Any, settings: Settings) -> str:
    """What stands in the field of a column; "" for what is not known."""
    if value is None:
        return ""
    if column.endswith("_ms"):
        return moments.written(value, settings.zone)
    if isinstance(value, float):
        number, unit = _in_own_unit(column, value, settings)
        return f"{f'{number:.4f}'.rstrip('0').rstrip('.')} {unit}"
    return str(value)


def _in_own_unit(column: str, value: float, settings: Settings) -> tuple[float, str]:
    if column.endswith("_g"):
        ounces = settings.show.mass == "oz"
        return (value / GRAMS_PER_OUNCE, "oz") if ounces else (value, "g")
    inches = settings.show.length == "in"
    if column.endswith("_mm"):
        return (value / MM_PER_INCH, "in") if inches else (value, "mm")
    if column.endswith("_cm"):
        return (value * 10 / MM_PER_INCH, "in") if inches else (value, "cm")
    if column.endswith("_c"):
        return shown_temperature(value, settings), temperature_unit(settings)
    return value, "min"


def name_of(column: str) -> str:
    """The name of a column's field: as the files call it."""
    return "time" if column == "at_ms" else column.removesuffix("_ms")


def read(typed: Typed, column: str, it: Desk, before: Any = None) -> Any:
    """The value of a column's field; `before` where the field says just what it was shown with.

    None where it is empty, or at fault: the fault is kept with what was typed.
    """
    name = name_of(column)
    if column in ("notes", "prey", "reason"):
        text = typed.note(name)
        return before if before is not None and text == _as_sent(before) else text
    if before is not None and typed.text(name) == shown(column, before, it.settings):
        return before
    if column in FROM_TEXT:
        return typed.word(name, FROM_TEXT[column])
    if column == "prey_count":
        return typed.read(name, _whole)
    if column.endswith("_ms"):
        return typed.read(name, lambda text: it.moment(text, name))
    return typed.read(name, lambda text: _AMOUNTS[column](text, it.settings, name))


def _as_sent(text: str) -> str | None:
    """A text as a form sends it back."""
    return text.replace("\r\n", "\n").strip() or None


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise Unusable("is no whole number; write 1, 2 or more")
    return int(text)
