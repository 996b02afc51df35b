"""The settings of a home: `warmcoil.toml`, typed. An unknown key or a wrong unit is an error."""

from __future__ import annotations

import re
from datetime import time
from importlib import resources
from pathlib import Path
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    BeforeValidator,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from config.errors import BadSettings
from config.faults import one_line, toml_document, toml_text
from config.home import Home
from config.sources import Mqtt, OneWire, Positive, Serial, Simulated, Strict

LEAST_RAW_DAYS = 60
"""As long as a meal may still be inside, which the next one waits for (`through.LONGEST_DAYS`);
nothing else that is asked again and again looks further back, but for meals' own windows."""
_MOST_RAW_DAYS = 36_500


class Show(Strict):
    """In which units the keeper reads and writes. The store and every file keep SI."""

    temperature: Literal["Cel", "degF"] = "Cel"
    mass: Literal["g", "oz"] = "g"
    length: Literal["mm", "in"] = "mm"


class Collect(Strict):
    """The collector's own pace."""

    commit_seconds: Annotated[float, Field(gt=0, le=60)] = 10.0
    sync_seconds: Annotated[float, Field(gt=0, le=600)] = 30.0
    seal_minutes: Annotated[float, Field(gt=0, le=1440)] = 60.0
    queue_frames: Annotated[int, Field(ge=100, le=1_000_000)] = 10_000
    wait_for_clock: bool = False


Bucket = Annotated[str, Field(pattern=r'^[^\s"\\$]([^\n\r"\\$]*[^\s"\\$])?$')]


class Archive(Strict):
    """What keeps the readings for years: a file of the home, or an InfluxDB.

    For InfluxDB 1.8, `bucket` is "database/retention-policy" and the token is "user:password".
    With a `lasting_bucket` the first one may have a retention.
    The token stands in `token_file` or in WARMCOIL_INFLUXDB_TOKEN, never here.
    """

    kind: Literal["sqlite", "influxdb"] = "sqlite"
    url: Annotated[str, Field(pattern=r"^https?://[^\s/?#@]+(/[^\s?#@]*)?$")] | None = None
    org: str = Field(default="-", min_length=1)
    bucket: Bucket | None = None
    lasting_bucket: Bucket | None = None
    token_file: Path | None = None
    ca_file: Path | None = None
    timeout_seconds: Annotated[float, Field(ge=0.5, le=120)] = 10.0

    @model_validator(mode="after")
    def _where(self) -> Self:
        if self.kind == "influxdb" and (self.url is None or self.bucket is None):
            raise ValueError("an InfluxDB takes an address and a bucket; give url and bucket")
        if self.lasting_bucket is not None and self.lasting_bucket == self.bucket:
            raise ValueError(
                "lasting_bucket is the same as bucket; make a second one, or leave it out"
            )
        return self


class Retention(Strict):
    """How many days readings stay raw; older ones are kept by the hour, but raw around meals.

    Without `raw_days` all stay raw. This is of the file of a home: on a server the first bucket's
    own retention thins, where there is a lasting one.
    """

    raw_days: int | None = None

    @field_validator("raw_days")
    @classmethod
    def _enough(cls, days: int | None) -> int | None:
        if days is not None and not LEAST_RAW_DAYS <= days <= _MOST_RAW_DAYS:
            raise ValueError(
                f"{days} cannot be; give {LEAST_RAW_DAYS} or more, as alarms and next meals need "
                "the last weeks raw; or leave it out to keep all readings raw"
            )
        return days


class TwoPoint(Strict):
    """A two-point calibration: what the probe read, and what was true, at two temperatures."""

    read: tuple[float, float]
    true: tuple[float, float]

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if self.read[0] == self.read[1]:
            raise ValueError("the two readings are equal; calibrate at two different temperatures")
        if self.true[0] == self.true[1]:
            raise ValueError("the two true values are equal; calibrate at two different ones")
        return self


class Probe(Strict):
    """What is known of one probe: its sensor, and its calibration (an offset or two points)."""

    id: str = Field(min_length=1)
    name: str | None = None
    sensor: Literal["DS18B20", "SHT3x", "SHT4x", "other"] | None = None
    temperature_offset_c: float | None = None
    temperature_two_point_c: TwoPoint | None = None
    humidity_offset_pct: float | None = None
    humidity_two_point_pct: TwoPoint | None = None

    @model_validator(mode="after")
    def _one_calibration(self) -> Self:
        for offset, points in (
            (self.temperature_offset_c, self.temperature_two_point_c),
            (self.humidity_offset_pct, self.humidity_two_point_pct),
        ):
            if offset is not None and points is not None:
                raise ValueError("has an offset and two points; keep one of them")
        return self


class Plausibility(Strict):
    """What no sensor and no enclosure can do (our own choice, generous)."""

    jump_c: Positive = 6.0
    jump_c_per_minute: Positive = 12.0
    accept_after_readings: Annotated[int, Field(ge=2, le=100)] = 3
    near_power_on_c: Positive = 5.0
    stuck_hours: Positive = 12.0
    stuck_others_moved_c: Positive = 1.0


class ReviewSettings(Strict):
    """How readings become a line."""

    gap_minutes: Positive = 15.0
    probes_disagree_c: Positive = 2.0


class Care(Strict):
    """Which care profile. A file care/NAME.toml in the home wins over the shipped one."""

    profile: str = Field(default="boa-constrictor", pattern=r"^[a-z0-9-]+$")


def _time_of_day(text: object) -> object:
    """ "03:30" as a time; TOML's own local time is one already."""
    if isinstance(text, str):
        if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
            raise ValueError(f'{text!r} is no time of day; one is, for example, "03:30"')
        return time.fromisoformat(text)
    return text


TimeOfDay = Annotated[time, BeforeValidator(_time_of_day)]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class WatchedEnclosure(Strict):
    """Where the alarms of one enclosure differ from the care profile."""

    name: str = Field(min_length=1)
    warm_side_low_c: Annotated[float, Field(gt=0, lt=50)] | None = None
    on_delay_minutes: Annotated[float, Field(ge=0, le=720)] | None = None
    on_delay_digesting_minutes: Annotated[float, Field(ge=0, le=720)] | None = None
    on_delay_first_minutes: Annotated[float, Field(ge=0, le=720)] | None = None
    too_hot_c: Annotated[float, Field(gt=0, lt=70)] | None = None
    cool_side_high_c: Annotated[float, Field(gt=0, lt=50)] | None = None
    humidity_low_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    humidity_high_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    humidity_hours: Annotated[float, Field(gt=0, le=20)] | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        _below(self.humidity_low_pct, self.humidity_high_pct, "humidity_low_pct")
        _below(self.warm_side_low_c, self.too_hot_c, "warm_side_low_c")
        return self


def _below(low: float | None, high: float | None, name: str) -> None:
    if low is not None and high is not None and low >= high:
        raise ValueError(f"{name} {low:g} is not below {high:g}, where too much begins")


class Watch(Strict):
    """Alarms and where they go, and the jobs beside them. `notify` are apprise addresses.

    Times of day are the home's.
    """

    every_seconds: Annotated[float, Field(gt=0, le=300)] = 10.0
    notify: tuple[str, ...] = ()
    notify_file: Path | None = None
    tell_others: tuple[str, ...] = ()
    tell_others_file: Path | None = None
    tell_others_after_minutes: Annotated[float, Field(ge=1, le=1440)] = 15.0
    quiet_from: TimeOfDay | None = None
    quiet_to: TimeOfDay | None = None
    heartbeat_file: Path | None = None
    heartbeat_minutes: Annotated[float, Field(ge=1, le=1440)] = 15.0
    publish_state: bool = True
    backup_at: TimeOfDay = time(3, 30)
    backups_kept: Annotated[int, Field(ge=0, le=1000)] = 14
    weekly_on: Weekday = "sunday"
    weekly_at: TimeOfDay = time(18, 0)
    ask_at: TimeOfDay = time(18, 30)
    enclosure: tuple[WatchedEnclosure, ...] = ()

    @model_validator(mode="after")
    def _quiet_hours(self) -> Self:
        if (self.quiet_from is None) != (self.quiet_to is None):
            raise ValueError("quiet hours have two ends; give quiet_from and quiet_to")
        if self.quiet_from is not None and self.quiet_from == self.quiet_to:
            raise ValueError(
                "quiet_from and quiet_to are the same; take both out for no quiet hours"
            )
        return self

    @model_validator(mode="after")
    def _one_entry_an_enclosure(self) -> Self:
        names = [one.name for one in self.enclosure]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"enclosure {twice[0]} has two [[watch.enclosure]] entries; keep one")
        return self


class Page(Strict):
    """The web page. `address` is how a phone reaches it, for the links in messages."""

    host: str = Field(default="127.0.0.1", min_length=1)
    port: Annotated[int, Field(ge=1, le=65_535)] = 8750
    address: Annotated[str, Field(pattern=r"^https?://[^\s/?#]+(/[^\s?#]*)?$")] | None = None
    trusted_proxies: tuple[str, ...] = ()
    tls_certificate: Path | None = None
    tls_key: Path | None = None

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.tls_certificate is None) != (self.tls_key is None):
            raise ValueError("TLS takes two files; give tls_certificate and tls_key")
        return self


class Settings(Strict):
    """Everything in `warmcoil.toml`."""

    time_zone: str = "UTC"
    show: Show = Show()
    collect: Collect = Collect()
    archive: Archive = Archive()
    retention: Retention = Retention()
    serial: tuple[Serial, ...] = ()
    mqtt: Mqtt = Mqtt()
    onewire: OneWire = OneWire()
    simulated: tuple[Simulated, ...] = ()
    probe: tuple[Probe, ...] = ()
    plausibility: Plausibility = Plausibility()
    review: ReviewSettings = ReviewSettings()
    care: Care = Care()
    watch: Watch = Watch()
    page: Page = Page()

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError, RecursionError):
            raise ValueError(
                f"{name!r} is not a time zone; one is, for example, Europe/Lisbon"
            ) from None
        return name

    @model_validator(mode="after")
    def _one_entry_a_probe(self) -> Self:
        seen: set[str] = set()
        for probe in self.probe:
            if probe.id in seen:
                raise ValueError(f"probe {probe.id} has two [[probe]] entries; keep one")
            seen.add(probe.id)
        return self

    @property
    def thins(self) -> bool:
        """True when something is to be done at night so that old readings may go."""
        if self.archive.kind == "influxdb":
            return self.archive.lasting_bucket is not None
        return self.retention.raw_days is not None

    @property
    def probe_names(self) -> dict[str, str]:
        """What the keeper calls the probes, by their own names; those that have such a name."""
        return {one.id: one.name for one in self.probe if one.name}

    @property
    def zone(self) -> ZoneInfo:
        """The home's time zone."""
        return ZoneInfo(self.time_zone)


def load_settings(home: Home) -> Settings:
    """Read a home's settings. Raises NotSo without a home, else BadSettings with one line."""
    home.must_exist()
    return parse_settings(toml_text(home.settings), str(home.settings))


def parse_settings(text: str, where: str) -> Settings:
    """Settings from TOML text; `where` names it in the error."""
    try:
        return Settings.model_validate(toml_document(text, where))
    except ValidationError as fault:
        raise BadSettings(f"{where}: {one_line(fault)}") from fault


def example_settings() -> str:
    """The commented example that `warmcoil init` writes."""
    return (resources.files("config") / "example.toml").read_text(encoding="utf-8")
