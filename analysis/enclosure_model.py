"""What an enclosure is like, from its records: how it cools, how far its heater reaches.

Never more than the records show: every part is None where they do not show it. Its estimates
stand beside a verdict and are never part of one.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.cooling import time_to_floor_h
from analysis.enclosure_falls import TimeConstant, time_constant
from analysis.enclosure_reach import Hold, Reach, can_hold, reach_of
from analysis.enclosure_track import EnclosureTrack, Hours, enclosure_track
from analysis.gap_estimate import GapEstimate, gap_low
from analysis.gathering import Facts
from analysis.heater_trend import Heater, heater_of
from analysis.tracks import Tracks
from analysis.words import HOUR_MS
from collector.book.records import Zone
from collector.readings import Quantity, SeriesKey
from collector.rfc3339 import written
from config.settings import Settings

if TYPE_CHECKING:
    from collector.book.book import Book
    from collector.store.reader import Reader

_USUAL_SHARE = 0.05
_GAP_HOURS = 1.0
_MOST_GAPS = 20


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap of an hour or more, with what probably happened in it (None: cannot be said)."""

    start_ms: int
    end_ms: int
    estimate: GapEstimate | None


@dataclass(frozen=True, eq=False)
class EnclosureModel:
    """One enclosure. `usual_c` is its middle warm side, `usual_low_c` how low it usually goes,
    `room_c` its middle room; `hours` how many hours of its warm side are known."""

    enclosure: str
    hours: float
    room_known: bool
    usual_c: float | None
    usual_low_c: float | None
    room_c: float | None
    time_constant: TimeConstant | None
    reach: Reach | None
    heater: Heater
    gaps: tuple[Gap, ...]
    by_hour: Hours

    def can_hold(self, hold_c: float, room_c: float) -> Hold:
        """Whether `hold_c` can be held in a room of `room_c`."""
        return can_hold(self.by_hour, self.reach, hold_c, room_c)

    def falls_to_floor_h(
        self, floor_c: float, room_c: float | None = None
    ) -> tuple[float, float, float] | None:
        """How long without heat from the usual warm side to the floor, with its interval, in h.

        None where the time constant or the room is not known, or the floor is never reached.
        """
        room = self.room_c if room_c is None else room_c
        if self.time_constant is None or self.usual_c is None or room is None:
            return None
        one = self.time_constant
        times = [time_to_floor_h(self.usual_c, floor_c, room, t)
                 for t in (one.tau_h, one.low_h, one.high_h)]  # fmt: skip
        known = [t for t in times if t is not None]
        return (known[0], known[1], known[2]) if len(known) == 3 else None

    def as_json(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "enclosure": self.enclosure,
            "known_hours": round(self.hours, 1),
            "room_known": self.room_known,
            "usual_c": self.usual_c,
            "usual_low_c": self.usual_low_c,
            "room_c": self.room_c,
            "time_constant": asdict(self.time_constant) if self.time_constant else None,
            "reach": asdict(self.reach) if self.reach else None,
            "heater": asdict(self.heater),
            "gaps": [
                {"start": written(one.start_ms), "end": written(one.end_ms),
                 "estimate": asdict(one.estimate) if one.estimate else None}
                for one in self.gaps
            ],
        }  # fmt: skip


def model_of_book(
    enclosure: str, book: Book, reader: Reader, settings: Settings, now_ms: int
) -> EnclosureModel:
    """The model of one enclosure, from all its readings up to `now_ms`."""
    facts, tracks = Facts.of(book), Tracks(reader)
    spans = reader.series()
    firsts = [
        max(one.since_ms, spans[key].first_ms)
        for one in facts.placements
        if one.enclosure == enclosure and one.zone is Zone.WARM_SIDE
        and (key := SeriesKey(one.probe, Quantity.TEMPERATURE)) in spans
    ]  # fmt: skip
    track = enclosure_track(
        enclosure, facts, tracks, start_ms=min(firsts, default=now_ms), end_ms=now_ms,
        gap_ms=settings.review.gap_minutes * 60_000,
    )  # fmt: skip
    return model_of(enclosure, track)


def model_of(enclosure: str, track: EnclosureTrack) -> EnclosureModel:
    """The model from a track."""
    hours, room = track.of_hours(), track.room_c[~np.isnan(track.room_c)]
    steps = np.diff(track.at_ms)
    known_ms = float(steps[steps <= track.gap_ms].sum())
    tau, heater = time_constant(track), heater_of(track)
    usual_low = float(np.quantile(track.warm_c, _USUAL_SHARE)) if len(track) else None
    return EnclosureModel(
        enclosure,
        hours=known_ms / HOUR_MS,
        room_known=bool(len(room)),
        usual_c=float(np.median(track.warm_c)) if len(track) else None,
        usual_low_c=usual_low,
        room_c=float(np.median(room)) if len(room) else None,
        time_constant=tau,
        reach=reach_of(hours),
        heater=heater,
        gaps=_gaps(track, tau, heater.strength_k, usual_low),
        by_hour=hours,
    )


def _gaps(
    track: EnclosureTrack, tau: TimeConstant | None, strength_k: float | None,
    usual_low_c: float | None,
) -> tuple[Gap, ...]:  # fmt: skip
    """The newest gaps of an hour or more."""
    after = np.flatnonzero(np.diff(track.at_ms) >= max(_GAP_HOURS * HOUR_MS, track.gap_ms)) + 1
    return tuple(
        Gap(
            round(track.at_ms[i - 1]),
            round(track.at_ms[i]),
            _estimate(track, i, tau, strength_k, usual_low_c),
        )
        for i in after.tolist()[-_MOST_GAPS:]
    )


def _estimate(
    track: EnclosureTrack, i: int, tau: TimeConstant | None, strength_k: float | None,
    usual_low_c: float | None,
) -> GapEstimate | None:  # fmt: skip
    rooms = track.room_c[i - 1 : i + 1]
    rooms = rooms[~np.isnan(rooms)]
    if tau is None or not len(rooms):
        return None
    return gap_low(
        float(track.warm_c[i - 1]),
        float(track.warm_c[i]),
        float(track.at_ms[i] - track.at_ms[i - 1]) / HOUR_MS,
        float(rooms.mean()),
        (tau.tau_h, tau.low_h, tau.high_h),
        strength_k=strength_k,
        usual_low_c=usual_low_c,
    )
