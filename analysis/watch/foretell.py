"""When a falling warm side passes its floor: the forecast of `analysis.cooling`, for looks."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.cooling import forecast


def foretell(
    at_ms: Sequence[int],
    warm_c: Sequence[float],
    *,
    room_c: Sequence[float] | None,
    floor_c: float,
    usual_c: float | None,
) -> int | None:
    """When it passes `floor_c`, in UTC ms; None where the fit is not good enough to say it."""
    found = forecast(at_ms, warm_c, room_c, floor_c, usual_c=usual_c)
    return None if found is None else found.at_ms
