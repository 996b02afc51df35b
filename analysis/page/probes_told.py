"""Each probe as the screen tells it: what it says, how well, where it lies, how it is corrected."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.calibration_words import outcome_words
from analysis.page.looking import Looking
from analysis.probes import ProbeState, doubts, probe_states
from analysis.words import age, local_time, temperature
from collector.book.records import Calibrated
from collector.calibration import Calibration
from collector.readings import AS_READ, Correction, Quantity, Reading, SeriesKey

_MS_PER_MINUTE = 60_000


@dataclass(frozen=True, slots=True)
class ProbeTold:
    """One row of the screen; every text is whole, with units and zones."""

    probe: str
    name: str | None
    readings: tuple[str, ...]
    quality: str
    silent: bool
    place: str
    since: str | None
    corrected: str
    measures_warmth: bool
    calibrated: str | None
    """When it was calibrated; None: never, as far as the book knows."""


def probes_told(home: Looking) -> list[ProbeTold]:
    """Every probe, ordered by place."""
    states = probe_states(home.book, home.reader, home.settings, home.now_ms)
    settled = Calibration(home.settings.probe)
    calibrated = {one.probe: one for one in home.book.calibrations()}  # the last one of each
    return [_told(state, home, settled, calibrated.get(state.probe)) for state in states]


def _told(
    state: ProbeState, home: Looking, settled: Calibration, calibrated: Calibrated | None
) -> ProbeTold:
    place = state.placement
    newest_ms = max((one.at_ms for one in state.latest), default=None)
    silent = newest_ms is None or home.now_ms - newest_ms > (
        home.settings.review.gap_minutes * _MS_PER_MINUTE
    )
    return ProbeTold(
        probe=state.probe,
        name=state.name,
        readings=tuple(
            f"{_amount(one, home)}, {age(state.age_seconds(one))}" for one in state.latest
        ),
        quality=_quality(state, newest_ms, home, silent=silent),
        silent=silent,
        place=f"{place.enclosure}, {place.zone.value}" if place else "nowhere",
        since=local_time(place.since_ms, home.zone) if place else None,
        corrected=_by_settings(settled.of(SeriesKey(state.probe, Quantity.TEMPERATURE)))
        if calibrated is None
        else outcome_words(calibrated),
        measures_warmth=any(one.quantity is Quantity.TEMPERATURE for one in state.latest),
        calibrated=None if calibrated is None else local_time(calibrated.at_ms, home.zone),
    )


def _amount(one: Reading, home: Looking) -> str:
    match one.quantity:
        case Quantity.TEMPERATURE:
            return temperature(one.value, home.settings)
        case Quantity.HUMIDITY:
            return f"{one.value:.0f} % humidity"
        case Quantity.VOLTAGE:
            return f"battery {one.value:.2f} V"


def _quality(state: ProbeState, newest_ms: int | None, home: Looking, *, silent: bool) -> str:
    if newest_ms is None:
        return "never heard"
    said = [word for one in state.latest for word in doubts(one.flags)]
    if silent:
        said.insert(0, f"silent since {local_time(newest_ms, home.zone)}")
    return ", ".join(dict.fromkeys(said)) or "good"


def _by_settings(correction: Correction) -> str:
    if correction == AS_READ:
        return "none: as read"
    return f"by the settings: {correction_words(correction)}"


def correction_words(correction: Correction) -> str:
    """A correction in °C: what is added, and what it is multiplied by first, if by anything."""
    added = f"{correction.offset:+.2f} °C"
    return added if correction.gain == 1.0 else f"× {correction.gain:.4f}, then {added}"
