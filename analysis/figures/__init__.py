"""Pictures: the ribbon of a meal, the plot of the days after it, an enclosure's last hours.

The drawing functions are found here by name, and loaded when they are asked for: who only wants the
ribbon's shape or its SVG does not load matplotlib.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.figures.meal_plot import plot_meal
    from analysis.figures.recent_plot import plot_recent

__all__ = ["plot_meal", "plot_recent"]

_ROOMS = {"plot_meal": "meal_plot", "plot_recent": "recent_plot"}


def __getattr__(name: str) -> object:
    if name in _ROOMS:
        return getattr(import_module(f"{__name__}.{_ROOMS[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
