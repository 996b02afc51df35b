"""Which probe is being warmed in a hand: a sequential test with a stated error rate. Light, pure.

Every probe is followed by two explanations, each of which foretells the next reading from those
before it (a Kalman filter: Harvey 1989, "Forecasting, Structural Time Series Models", ch. 2; from
memory):

- *its enclosure's doing*: it goes on along its own recent slope, with its own recent scatter, and
  changes as fast as heaters, thermostats and doors make it; or, where it was warmer within the
  last hour, it comes back to that as fast as a cased probe can in air;
- *a hand*: from some moment on it is drawn to the warmth of a hand, with the short time constant
  of metal held in skin.

The evidence is the ratio of how well the two foretold what came. Under the first explanation that
ratio passes 1/a with a chance of a at most, however often one looks (Ville 1939; Wald's sequential
test; from memory). With n probes a is shared by n, so that no probe is named wrongly more often
than once in 1,000 tries. No single reading decides: what one may say is bounded, so a wild value
names nobody. And only one is named: while a second warms too, nobody is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

WRONG = 0.001
"""The chance, at most, that a probe is named that no hand holds."""
BEFORE_MS = 10 * 60_000
"""So much before the beginning is followed to learn a probe's own slope and scatter."""
LOOKS_BACK_MS = 3_600_000
"""A probe that was warmer within this time may be on its way back by itself."""
LONGEST_MS = 120_000
"""A hand is looked for no longer than this."""

Series = Sequence[tuple[int, float]]
"""(UTC ms, °C) in the order of time."""

_MOST_PER_READING = 6.5
"""What one reading may add (natural logarithm): below log(1/WRONG), so it takes two or more."""
_BEFORE_OTHERS = 5.0
"""So much stronger (natural logarithm) must the evidence be than that of the next probe."""
_LEAST_RISE_C = 0.4
_LEAST_NOISE_C, _USUAL_NOISE_C = 0.04, 0.1
_LEVEL_PER_S = 0.02**2  # K²/s: drafts
_SLOPE_PER_S = 0.01**2 / 60  # (K/s)²/s: in a minute a slope changes by about 0.01 K/s
_LEAST_BEFORE = 4
_BUNCH_S = 0.5
_GAP_S = 300.0
"""After a longer silence nothing is foretold: a probe is learned anew."""

# A hand's skin and how fast metal in it follows; and how fast a cased probe can in air. Our own
# choice: skin of a palm lies about 30 to 35 °C (from memory), the warmer values for a closed hand.
_HANDS_C = (33.0, 35.0)
_HAND_TAUS_S = (8.0, 16.0, 32.0)
_ONSETS_S = (-6.0, -2.0, 0.0, 2.0, 5.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0)
_AIR_TAUS_S = (45.0, 90.0)
_DRAWN_PER_S = 0.06**2  # K²/s: a grip changes


@dataclass(frozen=True, slots=True)
class Warming:
    """One probe: its rise over its own line in °C since the beginning (None: not heard since, or
    not enough before), and the evidence for a hand as a natural logarithm (None: it did not rise).
    """

    probe: str
    rise_c: float | None
    evidence: float | None


@dataclass(frozen=True, slots=True)
class Found:
    """`probe` is the one in the hand, or None: not sure yet. `warming` is ordered, strongest first.

    `needed` is the evidence that names a probe; `heard` is how many were heard since the beginning,
    `known` how many of them long enough before it to be followed.
    """

    probe: str | None
    warming: tuple[Warming, ...]
    needed: float
    heard: int
    known: int

    @property
    def together(self) -> list[Warming]:
        """Those whose evidence would do; more than one: nobody is named."""
        return [one for one in self.warming if _at_least(one.evidence, self.needed)]


def find(readings: Mapping[str, Series], began_ms: int) -> Found:
    """The probe that is in a hand since about `began_ms`, by the readings of all that there are."""
    warming = sorted(
        (_warming(probe, series, began_ms) for probe, series in readings.items()),
        key=lambda one: (math.inf if one.evidence is None else -one.evidence, one.probe),
    )
    needed = math.log(max(1, len(readings)) / WRONG)
    heard = sum(len(series) > 0 and series[-1][0] >= began_ms for series in readings.values())
    known = sum(one.rise_c is not None for one in warming)
    return Found(_named(warming, needed), tuple(warming), needed, heard, known)


def _named(warming: Sequence[Warming], needed: float) -> str | None:
    if not warming or not _at_least(warming[0].evidence, needed):
        return None
    first = warming[0].evidence or 0.0
    second = max((one.evidence or 0.0 for one in warming[1:]), default=0.0)
    return warming[0].probe if first - second >= _BEFORE_OTHERS else None


def _at_least(value: float | None, limit: float) -> bool:
    return value is not None and value >= limit


def _warming(probe: str, series: Series, began_ms: int) -> Warming:
    known = _one_of_a_bunch(
        [
            ((at_ms - began_ms) / 1000, value)
            for at_ms, value in series
            if began_ms - BEFORE_MS <= at_ms
        ]
    )
    before = _without_gap([one for one in known if one[0] < _ONSETS_S[0]])
    since = [one for one in known if one[0] >= _ONSETS_S[0]]
    if not any(at_s >= 0 for at_s, _ in since) or len(before) < _LEAST_BEFORE:
        return Warming(probe, None, None)
    trend = _Trend.learned(before)
    highest = max(v for at_ms, v in series if began_ms - LOOKS_BACK_MS <= at_ms < began_ms)
    start_c, slope = trend.level, min(max(trend.slope, -0.02), 0.02)
    last_s, last_c = since[-1]
    line_c = start_c + slope * (last_s - trend.at_s)
    rise_c = last_c - line_c
    # What has not risen is in no hand: its evidence need not be weighed.
    evidence = _evidence(trend, highest, since) if rise_c >= _LEAST_RISE_C else None
    return Warming(probe, rise_c, evidence)


def _one_of_a_bunch(known: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Readings that came without times in one burst bear that of its arrival: the last is right."""
    ends = [one for one, following in pairwise(known) if following[0] - one[0] >= _BUNCH_S]
    return ends + known[-1:]


def _without_gap(before: list[tuple[float, float]]) -> list[tuple[float, float]]:
    for number in range(len(before) - 1, 0, -1):
        if before[number][0] - before[number - 1][0] > _GAP_S:
            return before[number:]
    return before


def _evidence(trend: _Trend, highest_c: float, since: Sequence[tuple[float, float]]) -> float:
    """The logarithm of how much better a hand explains what came since."""
    onsets = [onset for onset in _ONSETS_S if onset < since[-1][0]]
    hands = [_Drawn(hand, tau, onset) for onset in onsets for hand in _HANDS_C
             for tau in _HAND_TAUS_S]  # fmt: skip
    still_to_come = (len(_ONSETS_S) - len(onsets)) * len(_HANDS_C) * len(_HAND_TAUS_S)
    back = [_Drawn(highest_c, tau, onset) for onset in onsets[:4] for tau in _AIR_TAUS_S]
    if highest_c < trend.level + 3 * trend.noise:
        back = []
    by_hand, by_air = [0.0] * len(hands), [0.0] * len(back)
    by_trend = before = evidence = 0.0
    for at_s, value in since:
        then = trend.copy()
        own = trend.see(at_s, value)
        by_trend += own
        by_hand = [sum_ + one.see(then, own, at_s, value)
                   for sum_, one in zip(by_hand, hands, strict=True)]  # fmt: skip
        by_air = [sum_ + one.see(then, own, at_s, value)
                  for sum_, one in zip(by_air, back, strict=True)]  # fmt: skip
        # Of the enclosure's doing what fits best counts: it need not be averaged to be beaten.
        ratio = _mean(by_hand, by_trend, still_to_come) - max([by_trend, *by_air])
        evidence += min(ratio - before, _MOST_PER_READING)
        before = ratio
    return evidence


def _mean(logs: Sequence[float], other: float, times: int) -> float:
    """The logarithm of the mean of exp(logs), with `other` among them so many times."""
    top = max(other, *logs)
    total = sum(math.exp(one - top) for one in logs) + times * math.exp(other - top)
    return top + math.log(total / (len(logs) + times))


def _log_density(miss: float, variance: float) -> float:
    """Of a normal distribution; far out no rarer than a wild reading is (about 1e-6)."""
    return max(-0.5 * (miss * miss / variance + math.log(2 * math.pi * variance)), -14.0)


@dataclass(slots=True)
class _Trend:
    """Level (°C) and slope (K/s) with their variances, as of `at_s`."""

    at_s: float
    level: float
    slope: float
    p_ll: float
    p_ls: float
    p_ss: float
    noise: float
    restless: float

    @classmethod
    def learned(cls, before: Sequence[tuple[float, float]]) -> _Trend:
        """From what a probe read before: its noise, then how restless it is."""
        noise = _noise(before)
        misses = list(cls._run(before, noise, 1.0)[1])
        # The probe's own restlessness: misses larger than foretold make the foretelling humbler.
        ratio = sum(misses) / len(misses) if misses else 1.0
        return cls._run(before, noise, min(max(ratio, 1.0), 25.0))[0]

    @classmethod
    def _run(
        cls, before: Sequence[tuple[float, float]], noise: float, restless: float
    ) -> tuple[_Trend, Iterator[float]]:
        at_s, value = before[0]
        trend = cls(at_s, value, 0.0, noise**2, 0.0, 0.01**2, noise, restless)
        squares: list[float] = []
        for at_s, value in before[1:]:
            trend._go_on(at_s)
            squares.append((value - trend.level) ** 2 / (trend.p_ll + noise**2))
            trend._take(value)
        return trend, iter(squares[len(squares) // 4 :])

    def copy(self) -> _Trend:
        return _Trend(self.at_s, self.level, self.slope, self.p_ll, self.p_ls, self.p_ss,
                      self.noise, self.restless)  # fmt: skip

    def see(self, at_s: float, value: float) -> float:
        """How likely this reading was (logarithm); it is learned from."""
        self._go_on(at_s)
        told = _log_density(value - self.level, self.p_ll + self.noise**2)
        self._take(value)
        return told

    def _go_on(self, at_s: float) -> None:
        dt = max(0.0, at_s - self.at_s)
        more, turn = self.restless * _LEVEL_PER_S, self.restless * _SLOPE_PER_S
        self.at_s = max(at_s, self.at_s)
        self.level += self.slope * dt
        self.p_ll += dt * (2 * self.p_ls + dt * self.p_ss) + more * dt + turn * dt**3 / 3
        self.p_ls += dt * self.p_ss + turn * dt**2 / 2
        self.p_ss += turn * dt

    def _take(self, value: float) -> None:
        variance = self.p_ll + self.noise**2
        gain_l, gain_s = self.p_ll / variance, self.p_ls / variance
        miss = value - self.level
        self.level += gain_l * miss
        self.slope += gain_s * miss
        self.p_ss -= gain_s * self.p_ls
        self.p_ls -= gain_l * self.p_ls
        self.p_ll -= gain_l * self.p_ll


def _noise(before: Sequence[tuple[float, float]]) -> float:
    """A probe's noise (one sigma, °C): what its readings miss the line between their neighbours
    by. For evenly spaced ones that has 1.5 times the variance of one reading."""
    squares = []
    for (t0, a), (t1, b), (t2, c) in zip(before, before[1:], before[2:], strict=False):
        if t2 > t0:
            share = (t1 - t0) / (t2 - t0)
            squares.append((b - a - share * (c - a)) ** 2 / (1 + share**2 + (1 - share) ** 2))
    if len(squares) < 3:
        return _USUAL_NOISE_C
    # Few readings may look quieter than the probe is.
    humbler = 1 + 2 / len(squares)
    return max(math.sqrt(sum(squares) / len(squares)) * humbler, _LEAST_NOISE_C)


class _Drawn:
    """From `onset_s` on drawn to `target_c` with the time constant `tau_s`; before, the trend."""

    def __init__(self, target_c: float, tau_s: float, onset_s: float) -> None:
        self._target_c, self._tau_s, self._onset_s = target_c, tau_s, onset_s
        self._at_s: float | None = None
        self._level = self._variance = 0.0

    def see(self, trend: _Trend, own: float, at_s: float, value: float) -> float:
        """How likely this reading was (logarithm); `own` by the trend, as it stood before it."""
        if at_s <= self._onset_s:
            return own
        if self._at_s is None:
            trend = trend.copy()
            trend._go_on(max(self._onset_s, trend.at_s))  # noqa: SLF001 — two of one kind
            self._at_s, self._level, self._variance = trend.at_s, trend.level, trend.p_ll
        dt = max(0.0, at_s - self._at_s)
        left = math.exp(-dt / self._tau_s)
        self._at_s = max(at_s, self._at_s)
        self._level = self._target_c + (self._level - self._target_c) * left
        self._variance = self._variance * left**2 + _DRAWN_PER_S * dt
        variance = self._variance + trend.noise**2
        told = _log_density(value - self._level, variance)
        gain = self._variance / variance
        self._level += gain * (value - self._level)
        self._variance -= gain * self._variance
        return told
