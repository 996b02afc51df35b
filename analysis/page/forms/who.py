"""Which animal a form is for: the one that is named, or the only one."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query

from analysis.page.looking import Looking

Who = Annotated[str | None, Query(max_length=500)]


def choose(home: Looking, animal: str | None) -> str | None:
    """Its name; None where it has to be chosen. Raises NotSo for one that is not there."""
    if animal:
        return home.book.animal(animal).animal
    names = [one.animal for one in home.book.animals()]
    return names[0] if len(names) == 1 else None
