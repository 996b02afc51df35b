"""The journal: readings in the order they came, one packed row a commit, in an SQLite file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Receipt:
    """A message without a time of its own that was taken: by it, a redelivery is recognised."""

    source: str
    mid: int
    digest: bytes
