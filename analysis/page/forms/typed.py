"""What a form said. Nothing of it is thrown away: what is wrong is shown again as it was typed."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, TypeVar

from fastapi import Depends, Request

from analysis.entering.desk import Desk
from config.errors import Unusable

T = TypeVar("T")
_KEY = re.compile(r"[A-Za-z0-9_-]{20,64}")
_OF_EACH_SHOWING = ("form_token", "entry_key", "sure")


@dataclass(slots=True)
class Typed:
    """The fields of one form by their names, and the faults found while reading them."""

    fields: Mapping[str, str]
    faults: dict[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str | None:
        """The key that the form was shown with; None where that cannot be one."""
        key = self.fields.get("entry_key", "")
        return key if _KEY.fullmatch(key) else None

    @property
    def sure(self) -> str:
        """Which doubts were answered with yes."""
        return self.fields.get("sure", "")

    @property
    def digest(self) -> str:
        """Of what was typed, without what every showing of a form has anew."""
        said = {k: v for k, v in sorted(self.fields.items()) if k not in _OF_EACH_SHOWING}
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()

    def text(self, name: str) -> str:
        """One field without space around it; "" where it is empty or missing."""
        return self.fields.get(name, "").strip()

    def note(self, name: str = "notes") -> str | None:
        """Several lines of text, their ends as everywhere else; None for nothing."""
        return self.text(name).replace("\r\n", "\n") or None

    def read(self, name: str, how: Callable[[str], T]) -> T | None:
        """One field read; None where it is empty, or at fault, which is kept."""
        text = self.text(name)
        if not text:
            return None
        try:
            return how(text)
        except Unusable as fault:
            self.faults[name] = str(fault).removeprefix(f"{name}: ")
            return None

    def word(self, name: str, kind: Callable[[str], T]) -> T | None:
        """One of a few words; anything else was not offered."""

        def known(text: str) -> T:
            try:
                return kind(text)
            except ValueError:
                raise Unusable("is none of what may be chosen here; choose again") from None

        return self.read(name, known)

    def when(self, it: Desk) -> int:
        """The moment: of the field where one was written, else of the choice beside it."""
        text = self.text("time") or self.text("ago") or "now"
        try:
            return it.moment(text, "time")
        except Unusable as fault:
            self.faults["time"] = str(fault).removeprefix("time: ")
            return it.now_ms


async def _typed(request: Request) -> Typed:
    form = await request.form(max_files=0, max_fields=200)
    return Typed({name: text for name, text in form.items() if isinstance(text, str)})


Sent = Annotated[Typed, Depends(_typed)]
"""What a form said, for an endpoint that takes one."""
