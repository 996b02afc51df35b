"""The screens. Each is a module here with a `router` and a template of the same name.

A screen that has a place among the links at the top of every page says so:

    ENTRY = Entry("Alarms", "/alarms", order=40)

Nothing else needs to be changed for a new screen: modules are found by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Entry:
    """A link at the top of every page."""

    words: str
    path: str
    order: int


DAILY = (
    Entry("A meal", "/write/meal", 1),
    Entry("An outcome", "/write/outcome", 2),
    Entry("A weight", "/write/weight", 3),
)
"""What is done every day: at the bottom of every page, within reach of a thumb. Those are shown
that there is a screen for."""
