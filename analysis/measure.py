"""One figure of a meal and the rule it is held against; and where a number of the trade is from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from config.care import Basis


class _Source(Protocol):
    @property
    def basis(self) -> Basis: ...
    @property
    def source(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Measured:
    """One factor's figure. `breaks`: whether it breaks its rule; None: no rule, or not to be told.

    `rank_by` orders it among other meals (`worse` says which way harm lies; words are compared for
    being the same), None where it cannot be. `whole` is False where missing readings could have
    added to it.
    """

    factor: str
    value: float | str | None
    basis: str
    limit: float | None = None
    breaks: bool | None = None
    rank_by: float | str | None = None
    worse: Literal["more", "less"] = "more"
    whole: bool = True


def basis_text(of: _Source) -> str:
    """Where a number comes from, and, where that is less than a text that was read, how far."""
    if of.basis == "practice":
        return "common practice"
    added = {"memory": " (from memory)", "policy": " (our own choice)", "derived": " (derived)"}
    return of.source + added.get(of.basis, "")
