"""Care profiles: the numbers of the trade, each with unit, source and how far to trust it."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from config.errors import BadSettings
from config.faults import one_line, toml_document, toml_text

Basis = Literal["read", "memory", "derived", "practice", "policy"]
"""read: stood in a text that was read; memory: from memory; derived: computed from read values;
practice: common practice, no source; policy: our own choice."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Sourced(_Strict):
    """One number of the trade."""

    value: float
    unit: str
    basis: Basis
    source: str = Field(min_length=3)


class Span(_Strict):
    """A range of the trade, both ends included."""

    low: float
    high: float
    unit: str
    basis: Basis
    source: str = Field(min_length=3)

    @model_validator(mode="after")
    def _ordered(self) -> Span:
        if self.low > self.high:
            raise ValueError(f"low {self.low} is above high {self.high}")
        return self


class Limit(_Strict):
    """When a meal's warm side was not what it should be.

    `of` names the figure: the longest spell or the total time beyond `level_c`, on that `side`.
    It is met when the figure reaches `hours`. `within_hours` counts from the meal; without it the
    whole window counts.
    """

    side: Literal["below", "above"]
    level_c: float
    hours: float = Field(gt=0)
    of: Literal["longest spell", "total"]
    within_hours: float | None = Field(default=None, gt=0)
    verdict: Literal["cool", "too cool", "too hot"]
    basis: Basis
    source: str = Field(min_length=3)


class Digestion(_Strict):
    """Parameters of D(m, T) = days × (m / meal)^exponent × Q10^((reference − T) / 10)."""

    reference_days: Sourced
    reference_meal_pct: Sourced
    reference_c: Sourced
    exponent: Sourced
    q10: Sourced
    q10_span: Span
    clamp_c: Sourced
    swing_c: Sourced
    swing_factor: Sourced


class Window(_Strict):
    """How long after a meal the readings count."""

    min_hours: Sourced
    max_days: Sourced
    unknown_days: Sourced


class Climate(_Strict):
    """What the enclosure should hold."""

    preferred: Span
    cool_side: Span
    humidity: Span
    humidity_outside_share: Sourced
    too_hot: Sourced


class AgeInterval(_Strict):
    """Days between meals from an age on."""

    from_months: float
    days: Span


class Feeding(_Strict):
    """Rules around a meal."""

    intervals: tuple[AgeInterval, ...]
    no_handling_hours: Sourced
    shed_within_days: Sourced
    width_over_midbody_mm: Sourced
    prey_share: Span
    prey_share_large: Sourced
    prey_share_too_large: Sourced
    surface_contrast_c: Sourced
    inspect_minutes: Sourced
    clear_by_hour: Sourced
    rest_after_regurgitation_days: Sourced
    share_after_regurgitation: Sourced
    infection_hours: Span
    second_person_cm: Sourced


class NextMeal(_Strict):
    """When an enclosure is fit for a meal today, and how long "in shed" is believed."""

    steady_hours: Sourced
    most_hours_off: Sourced
    least_known_share: Sourced
    shed_days: Sourced


class Vet(_Strict):
    """What is for a vet and not for the heater."""

    came_back_in_a_row: Sourced
    droppings_days: Sourced
    """How long droppings with mucus or blood count, unless clean ones follow."""
    brought_up_hours: Sourced


class Condition(_Strict):
    """What weights and meals say of an animal, and from when on it is said."""

    trend_days: Sourced
    least_weighings: Sourced
    loss_vet_pct: Sourced
    loss_early_pct: Sourced
    grown_months: Sourced
    grown_rise_pct_month: Sourced
    food_days: Sourced
    index_least_records: Sourced
    look_days: Sourced


class PreyKind(_Strict):
    """A kind of prey as it is sold: what it is called, weighs and holds. None is unknown."""

    name: str
    words: Annotated[tuple[str, ...], Field(min_length=1)]
    mass_g: Span
    energy_kcal_per_g: Sourced | None = None
    protein_pct: Sourced | None = None
    fat_pct: Sourced | None = None
    staple: bool = True


def _policy(value: float, unit: str, source: str) -> Sourced:
    return Sourced(value=value, unit=unit, basis="policy", source=source)


class Alarm(_Strict):
    """When something is said while it happens; a profile without some of it has them from here."""

    warm_side_low: Sourced
    deadband: Sourced
    on_delay: Sourced
    on_delay_digesting: Sourced
    off_delay: Sourced
    no_readings: Sourced
    first_hours: Sourced = _policy(
        48.0,
        "h",
        "the hours after a meal in which the animal is left alone: a fall then is the worst",
    )
    on_delay_first: Sourced = _policy(5.0, "min", "sharpest in the first hours after a meal")
    falling_on_delay: Sourced = _policy(
        6.0,
        "min",
        "the forecast holds for this long before it is said",
    )
    falling_off_delay: Sourced = _policy(
        20.0,
        "min",
        "nothing is foretold for this long: it does not fall any more",
    )
    too_hot_on_delay: Sourced = _policy(
        10.0,
        "min",
        "longer than a lamp under which a hand was held",
    )
    far_too_hot: Sourced = _policy(
        39.0,
        "Cel",
        "far above the preferred zone: near-lethal heat makes snakes regurgitate "
        "(Fobian, Overgaard & Wang 2014, J. Exp. Biol. 217:3958)",
    )
    far_too_hot_on_delay: Sourced = _policy(
        2.0,
        "min",
        "a heater without its thermostat does harm within minutes",
    )
    cool_side_high: Sourced = _policy(
        30.0,
        "Cel",
        "above the cool side of care pages (24-27 °C) by 3 °C: no retreat from the heat",
    )
    cool_side_on_delay: Sourced = _policy(60.0, "min", "longer than a sunny spell through a window")
    humidity_on_delay: Sourced = _policy(6.0, "h", "an hour after misting is no fault")
    humidity_deadband: Sourced = _policy(
        3.0,
        "%RH",
        "over when back inside by this much; a capacitive sensor is good to 2 to 3 %",
    )
    doubted_share: Sourced = _policy(
        0.5,
        "1",
        "most of a probe's readings of the last ten minutes fail the check",
    )
    doubted_on_delay: Sourced = _policy(
        2.0,
        "min",
        "longer than a loose plug takes to be pushed in",
    )
    disagree_on_delay: Sourced = _policy(
        60.0,
        "min",
        "a probe that an animal lies on is warmer for a while",
    )
    source_away: Sourced = _policy(
        3.0,
        "min",
        "longer than a broker or a node takes to start again",
    )
    collector_silent: Sourced = _policy(
        5.0,
        "min",
        "no probe at all reports; sooner than one silent probe, which may be nothing",
    )
    clock_unsure: Sourced = _policy(
        10.0,
        "min",
        "a board without a clock chip learns the time within a minute or two",
    )
    card_free: Sourced = _policy(1000.0, "MB", "less free than this: time to make room")
    card_least: Sourced = _policy(200.0, "MB", "days of readings with their backups, not weeks")
    several_on_delay: Sourced = _policy(
        4.0,
        "min",
        "several enclosures are seen falling for this long",
    )
    several_off_delay: Sourced = _policy(10.0, "min", "none of them falls any more, for this long")
    chatter_quiet: Sourced = _policy(
        30.0,
        "min",
        "an alarm that comes and goes is held until it has been quiet for this long",
    )


class CareProfile(_Strict):
    """One species' profile."""

    name: str
    species: tuple[str, ...]
    climate: Climate
    limits: Annotated[tuple[Limit, ...], Field(min_length=1)]
    window: Window
    digestion: Digestion
    feeding: Feeding
    next_meal: NextMeal
    condition: Condition
    vet: Vet
    prey: tuple[PreyKind, ...]
    alarm: Alarm

    def levels_c(self, side: Literal["below", "above"]) -> tuple[float, ...]:
        """The distinct levels of that side's limits in °C, the mildest first."""
        levels = {limit.level_c for limit in self.limits if limit.side == side}
        return tuple(sorted(levels, reverse=side == "below"))


def load_care_profile(name: str, folder: Path | None = None) -> CareProfile:
    """Load the profile `name`, from `folder` (a home's own) if it is there, else as shipped.

    Raises BadSettings, one line, when there is none or when it cannot be used.
    """
    own = folder / f"{name}.toml" if folder is not None else None
    if own is not None and own.is_file():
        text, where = toml_text(own), str(own)
    else:
        shipped = resources.files("config") / "care" / f"{name}.toml"
        if not shipped.is_file():
            raise BadSettings(
                f"no care profile {name!r}; shipped with Warmcoil: "
                f"{', '.join(care_profile_names())}"
            )
        text, where = shipped.read_text(encoding="utf-8"), f"care profile {name}"
    try:
        return CareProfile.model_validate(toml_document(text, where))
    except ValidationError as fault:
        raise BadSettings(f"{where}: {one_line(fault)}") from fault


def care_profile_names() -> list[str]:
    """Names of the shipped profiles."""
    folder = resources.files("config") / "care"
    return sorted(
        p.name.removesuffix(".toml") for p in folder.iterdir() if p.name.endswith(".toml")
    )
