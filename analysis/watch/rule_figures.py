"""The figures of the alarm rules, from the care profile and the settings, in one unit each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from analysis.watch.rules_falling import Falling
from analysis.watch.rules_threshold import Side, Step, Threshold
from analysis.watch.states import DAY_MS, HOUR_MS, MINUTE_MS, Kind, Priority
from config.care import CareProfile, Sourced
from config.errors import BadSettings
from config.settings import Settings, WatchedEnclosure

_DURATIONS_MS = {"s": 1_000, "min": MINUTE_MS, "h": HOUR_MS}
_ANY_MEAL_MS: Final = 400 * DAY_MS
LOOK_MS: Final = 2 * MINUTE_MS
"""How often a warm side is looked at for a fall."""
_CLOCK_GAP_MS: Final = HOUR_MS

DOUBTED_OVER_MS: Final = 10 * MINUTE_MS
"""Over how long the share of doubted readings is taken."""
GATHER_MS: Final = 90_000
"""How long a consequence waits for its cause, and how far apart two beginnings of one fault lie."""
FALLS_TOGETHER_MS: Final = 15 * MINUTE_MS
"""How far apart the falls of several enclosures may begin: a slow one is seen late."""

# ISA-18.2, from memory: a flood is more than 10 alarms in 10 minutes for one person; an alarm that
# is raised three times or more within a minute chatters. Ours have delays of minutes, so the hour.
FLOOD_ALARMS: Final = 10
FLOOD_MS: Final = 10 * MINUTE_MS
CHATTER_TIMES: Final = 3
CHATTER_MS: Final = HOUR_MS
CHATTER_AT_ONCE_MS: Final = MINUTE_MS


@dataclass(frozen=True, slots=True)
class EnclosureRules:
    """The rules of one enclosure."""

    thresholds: Mapping[Kind, Threshold]
    falling: Falling


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules of a home: `enclosures` where the settings say otherwise than `common`."""

    common: EnclosureRules
    home: Mapping[Kind, Threshold]
    silence_ms: int
    collector_ms: int
    away_ms: int
    together_ms: int
    together_off_ms: int
    gap_ms: int
    enclosures: Mapping[str, EnclosureRules] = field(default_factory=dict)

    def of(self, enclosure: str) -> EnclosureRules:
        """The rules of an enclosure."""
        return self.enclosures.get(enclosure, self.common)

    def threshold(self, kind: Kind, enclosure: str) -> Threshold:
        """The threshold of a kind there."""
        return self.home[kind] if kind in self.home else self.of(enclosure).thresholds[kind]

    def lookback_ms(self, kind: Kind, enclosure: str = "") -> int:
        """How far back the readings must be seen to know the stretch that goes on."""
        longest_ms = HOUR_MS
        if kind in self.home or kind in self.common.thresholds:
            longest_ms = self.threshold(kind, enclosure).longest_ms
        if kind is Kind.WARM_SIDE_LOW:
            falling = self.of(enclosure).falling
            longest_ms = max(longest_ms, falling.on_delay_ms, falling.off_delay_ms)
        return HOUR_MS + longest_ms


def rules_of(care: CareProfile, settings: Settings) -> Rules:
    """The rules of a home. Raises BadSettings when a figure has a unit it cannot have."""
    read = _Reading(care, settings)
    common = read.enclosure_rules(None)
    own = {one.name: read.enclosure_rules(one) for one in settings.watch.enclosure}
    return Rules(
        common=common,
        home=read.home_rules(),
        silence_ms=read.duration("no_readings"),
        collector_ms=read.duration("collector_silent"),
        away_ms=read.duration("source_away"),
        together_ms=read.duration("several_on_delay"),
        together_off_ms=read.duration("several_off_delay"),
        gap_ms=read.gap_ms,
        enclosures=own,
    )


class _Reading:
    """Figures out of a care profile, each in the unit that the rules use."""

    def __init__(self, care: CareProfile, settings: Settings) -> None:
        self._care = care
        self._apart_k = settings.review.probes_disagree_c
        self.gap_ms = round(settings.review.gap_minutes * MINUTE_MS)

    def duration(self, name: str) -> int:
        """A delay in ms."""
        figure = self._named(name)
        value = self._positive(name, self.figure(name, *_DURATIONS_MS))
        return round(value * _DURATIONS_MS[figure.unit])

    def figure(self, name: str, *units: str) -> float:
        """A figure that is given in one of these units."""
        figure = self._named(name)
        if figure.unit not in units:
            raise BadSettings(
                f"care profile {self._care.name}: alarm.{name}: unit {figure.unit!r}; "
                f"give it in {' or '.join(units)}"
            )
        return figure.value

    def kelvin(self, name: str) -> float:
        """A difference of temperature."""
        return self._positive(name, self.figure(name, "K", "Cel"))

    def _named(self, name: str) -> Sourced:
        figure: Sourced = getattr(self._care.alarm, name)
        return figure

    def _positive(self, name: str, value: float) -> float:
        if value < 0:
            raise BadSettings(
                f"care profile {self._care.name}: alarm.{name}: {value:g} is below zero"
            )
        return value

    # ---- an enclosure's rules ---------------------------------------------------------------

    def enclosure_rules(self, own: WatchedEnclosure | None) -> EnclosureRules:
        own = own or WatchedEnclosure(name="any")
        floor_c = _or(own.warm_side_low_c, self.figure("warm_side_low", "Cel"))
        thresholds = {
            Kind.WARM_SIDE_LOW: self._warm_side(own, floor_c),
            Kind.TOO_HOT: self._too_hot(own, floor_c),
            Kind.COOL_SIDE_WARM: self._cool_side(own),
            **self._humidity(own),
            **self._probes(),
        }
        falling = Falling(
            floor_c,
            self.kelvin("deadband"),
            self.duration("falling_on_delay"),
            self.duration("falling_off_delay"),
            self.gap_ms,
        )
        return EnclosureRules(thresholds, falling)

    def _warm_side(self, own: WatchedEnclosure, floor_c: float) -> Threshold:
        meal_ms = round(self.figure("first_hours", "h") * HOUR_MS)
        minutes = (own.on_delay_minutes, own.on_delay_digesting_minutes, own.on_delay_first_minutes)
        names = ("on_delay", "on_delay_digesting", "on_delay_first")
        delays = [_minutes_or(m, self.duration(n)) for m, n in zip(minutes, names, strict=True)]
        steps = (
            Step(floor_c, delays[0], Priority.MEDIUM),
            Step(floor_c, delays[1], Priority.HIGH, _ANY_MEAL_MS),
            Step(floor_c, delays[2], Priority.HIGH, meal_ms),
        )
        return self._threshold(Side.BELOW, steps, self.kelvin("deadband"))

    def _too_hot(self, own: WatchedEnclosure, floor_c: float) -> Threshold:
        hot_c = _or(own.too_hot_c, self._care.climate.too_hot.value)
        far_c = max(hot_c, self.figure("far_too_hot", "Cel"))
        if hot_c <= floor_c:
            where = "" if own.name == "any" else f" of {own.name}"
            raise BadSettings(
                f"too_hot_c{where} {hot_c:g} is not above warm_side_low_c {floor_c:g}"
            )
        steps = (
            Step(hot_c, self.duration("too_hot_on_delay"), Priority.MEDIUM),
            Step(far_c, self.duration("far_too_hot_on_delay"), Priority.HIGH),
        )
        return self._threshold(Side.ABOVE, steps, self.kelvin("deadband"))

    def _cool_side(self, own: WatchedEnclosure) -> Threshold:
        setpoint_c = _or(own.cool_side_high_c, self.figure("cool_side_high", "Cel"))
        step = Step(setpoint_c, self.duration("cool_side_on_delay"), Priority.MEDIUM)
        return self._threshold(Side.ABOVE, (step,), self.kelvin("deadband"))

    def _humidity(self, own: WatchedEnclosure) -> dict[Kind, Threshold]:
        span = self._care.climate.humidity
        deadband = self._positive("humidity_deadband", self.figure("humidity_deadband", "%RH"))
        on_ms = self.duration("humidity_on_delay")
        if own.humidity_hours is not None:
            on_ms = round(own.humidity_hours * HOUR_MS)
        low, high = _or(own.humidity_low_pct, span.low), _or(own.humidity_high_pct, span.high)
        return {
            Kind.HUMIDITY_LOW: self._threshold(
                Side.BELOW, (Step(low, on_ms, Priority.LOW),), deadband
            ),
            Kind.HUMIDITY_HIGH: self._threshold(
                Side.ABOVE, (Step(high, on_ms, Priority.LOW),), deadband
            ),
        }

    def _probes(self) -> dict[Kind, Threshold]:
        doubted = Step(
            self.figure("doubted_share", "1"), self.duration("doubted_on_delay"), Priority.MEDIUM
        )
        apart = Step(self._apart_k, self.duration("disagree_on_delay"), Priority.LOW)
        return {
            Kind.PROBE_DOUBTED: self._threshold(Side.ABOVE, (doubted,), 0.2),
            Kind.PROBE_STUCK: self._threshold(Side.ABOVE, (Step(0.5, 0, Priority.MEDIUM),), 0.0),
            Kind.PROBES_DISAGREE: self._threshold(Side.ABOVE, (apart,), self.kelvin("deadband")),
        }

    def _threshold(self, side: Side, steps: tuple[Step, ...], deadband: float) -> Threshold:
        return Threshold(
            side, steps, deadband, self.duration("off_delay"), self.duration("chatter_quiet"),
            self.gap_ms,
        )  # fmt: skip

    # ---- the home's own ---------------------------------------------------------------------

    def home_rules(self) -> dict[Kind, Threshold]:
        quiet_ms, off_ms = self.duration("chatter_quiet"), self.duration("off_delay")
        room, least = self.figure("card_free", "MB"), self.figure("card_least", "MB")
        card = (Step(room, 0, Priority.MEDIUM), Step(min(room, least), 0, Priority.HIGH))
        clock = (Step(0.5, self.duration("clock_unsure"), Priority.MEDIUM),)
        write = (Step(0.5, self.duration("source_away"), Priority.HIGH),)
        gap_ms = _CLOCK_GAP_MS
        return {
            Kind.CARD_FILLING: Threshold(Side.BELOW, card, room / 10, off_ms, quiet_ms, gap_ms),
            Kind.CLOCK_UNSURE: Threshold(Side.ABOVE, clock, 0.0, 0, quiet_ms, gap_ms),
            Kind.NOT_WRITTEN: Threshold(Side.ABOVE, write, 0.0, 0, quiet_ms, gap_ms),
        }


def _or(own: float | None, common: float) -> float:
    return common if own is None else own


def _minutes_or(own: float | None, common_ms: int) -> int:
    return common_ms if own is None else round(own * MINUTE_MS)
