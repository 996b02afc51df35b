"""Where readings come from, as the settings say it: serial lines, a broker, 1-Wire, simulated."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

TemperatureUnit = Literal["Cel", "K", "degF"]
Positive = Annotated[float, Field(gt=0)]


class Strict(BaseModel):
    """Part of the settings: an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


_MOST_LEVELS = 100
"""Of a topic; a broker takes more, and whoever matches them level by level does not."""


def _topic_filter(text: str) -> str:
    """An MQTT topic filter (MQTT 5 §4.7), as it stands in the settings."""
    levels = text.split("/")
    if len(levels) > _MOST_LEVELS:
        raise ValueError(f"has more than {_MOST_LEVELS} levels: no topic of a sensor")
    if not text or any("+" in level and level != "+" for level in levels):
        raise ValueError(f'{text!r} is no MQTT topic filter; "+" stands for one whole level')
    if any("#" in level for level in levels[:-1]) or ("#" in levels[-1] and levels[-1] != "#"):
        raise ValueError(f'{text!r} is no MQTT topic filter; "#" may only be its last level')
    return text


TopicFilter = Annotated[str, AfterValidator(_topic_filter)]


class Serial(Strict):
    """One serial line with one SenML pack a line."""

    port: str
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 115_200


class MqttSource(Strict):
    """A sensor that does not speak SenML: where in its messages the numbers stand.

    `temperature`, `humidity` and `voltage` are JSON Pointers (RFC 6901) or the word "payload",
    when the whole payload is the number.
    """

    topic: TopicFilter
    probe: str = Field(min_length=1)
    temperature: str | None = None
    humidity: str | None = None
    voltage: str | None = None
    temperature_unit: TemperatureUnit = "Cel"

    @field_validator("temperature", "humidity", "voltage")
    @classmethod
    def _pointer(cls, text: str | None) -> str | None:
        if text is not None and text != "payload" and not text.startswith("/"):
            raise ValueError(
                f'{text!r} is neither a JSON Pointer (it starts with "/") nor "payload"'
            )
        return text

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.temperature is self.humidity is self.voltage is None:
            raise ValueError("names no quantity: give temperature, humidity or voltage")
        return self


_ALONE = "warmcoil-collector"


class Mqtt(Strict):
    """The MQTT 5 broker. Without a host there is none.

    Collectors with one `share` take turns (MQTT 5 §4.8.2): each message goes to one of them.
    """

    host: str | None = None
    port: Annotated[int, Field(ge=1, le=65_535)] = 1883
    client_id: str = Field(default=_ALONE, min_length=1)
    topic: TopicFilter = "warmcoil/+/senml"
    share: Annotated[str, Field(pattern=r"^[^/+#\s]+$")] | None = None
    username: str | None = None
    password_file: Path | None = None
    tls: bool = False
    ca_file: Path | None = None
    protocol: Literal["5", "3.1.1"] = "5"
    session_days: Positive = 7.0
    source: tuple[MqttSource, ...] = ()

    @model_validator(mode="after")
    def _sharing(self) -> Self:
        if self.share is not None and self.protocol != "5":
            raise ValueError('share takes MQTT 5; take out protocol = "3.1.1"')
        if self.share is not None and self.client_id == _ALONE:
            raise ValueError("collectors that share each need a client_id of their own; give one")
        return self


class OneWire(Strict):
    """DS18B20 probes on the board itself, through the kernel's 1-Wire files."""

    folder: Path | None = None
    every_seconds: Positive = 10.0


class Simulated(Strict):
    """A simulated probe inside the collector: for trying things out without hardware."""

    probe: str = Field(min_length=1)
    quantity: Literal["temperature", "humidity"] = "temperature"
    mean: float = 31.0
    swing: Annotated[float, Field(ge=0)] = 0.5
    noise: Annotated[float, Field(ge=0)] = 0.05
    every_seconds: Positive = 10.0
