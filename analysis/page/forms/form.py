"""A form as it is shown: what stands in its fields, what is wrong, what is doubted."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from collector.book.doubts import Doubt


def fresh_key() -> str:
    """The key of a form that is about to be shown."""
    return secrets.token_urlsafe(18)


def mark_of(doubts: Sequence[Doubt]) -> str:
    """Which doubts these are: who says yes says it to these, and to no others."""
    text = "\n".join(f"{one.field}: {one.why}" for one in doubts)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class Form:
    """Handed to a template.

    `values` stand in the fields, `faults` beside them, each by the name of its field. `general`
    is a fault of no field, `said` what has to be known; `doubts` are asked about.
    """

    values: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)
    doubts: Sequence[Doubt] = ()
    general: str | None = None
    said: str | None = None
    key: str = field(default_factory=fresh_key)
    status: int = 200

    @property
    def sure(self) -> str:
        """What the button that says yes to the doubts sends."""
        return mark_of(self.doubts)

    @property
    def sent(self) -> bool:
        """True when it comes back to who filled it."""
        return self.status != 200

    def value(self, name: str, otherwise: str = "") -> str:
        """What stands in a field."""
        return self.values.get(name, otherwise)

    def any_of(self, *names: str) -> bool:
        """True when something is wrong or doubted with one of these fields."""
        doubted = {one.field for one in self.doubts}
        return any(name in self.faults or name in doubted for name in names)
