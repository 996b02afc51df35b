"""From the settings to sources and their decoders. What is not configured is not imported."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from collector import senml
from collector.counts import Counts
from collector.frame import Frame, Inbox
from collector.measured import Decoded, Ignored
from collector.pipeline import Decoder
from collector.sources.source import Source
from config.errors import BadPayload
from config.settings import Settings
from config.sources import Mqtt, MqttSource

# ruff: noqa: PLC0415 — imports stand where they are needed: each library costs memory for years

_TOPICS_REMEMBERED = 4096
"""A hundred characters each or so; one that is forgotten is looked at again."""


def sources_of(settings: Settings, inbox: Inbox, counts: Counts) -> list[Source]:
    """Every source that the settings name, not started yet. Raises BadSettings."""
    sources: list[Source] = []
    if settings.serial:
        from collector.sources.serial_line import SerialLine

        sources += [SerialLine(line, inbox, counts) for line in settings.serial]
    if settings.onewire.folder is not None:
        from collector.sources.onewire import OneWire

        every_s = settings.onewire.every_seconds
        sources.append(OneWire(settings.onewire.folder, every_s, inbox, counts))
    if settings.simulated:
        from collector.sources.simulated import SimulatedProbes

        sources.append(SimulatedProbes(settings.simulated, inbox, counts))
    if settings.mqtt.host is not None:
        from collector.sources.mqtt import MqttBroker

        sources.append(MqttBroker(settings.mqtt, inbox, counts))
    return sources


def decoders_of(settings: Settings, sources: Iterable[Source]) -> dict[str, Decoder]:
    """How to read the frames of each source."""
    return {source.name: _decoder(source.name, settings) for source in sources}


def _decoder(name: str, settings: Settings) -> Decoder:
    if name == "mqtt":
        return mqtt_decoder(settings.mqtt)
    if name == "1-wire":
        from collector.sources import onewire

        return lambda frame, _now_ms: onewire.decode(frame.payload, frame.label)
    return _senml


def _senml(frame: Frame, now_ms: int) -> Decoded:
    return senml.decode(frame.payload, now_ms)


def mqtt_decoder(settings: Mqtt) -> Decoder:
    """Reads a message as its topic asks for: as a [[mqtt.source]] says, else as SenML.

    One topic may carry several probes: then each of them has a [[mqtt.source]] with that topic.
    """
    from paho.mqtt.client import topic_matches_sub

    @lru_cache(_TOPICS_REMEMBERED)
    def meant(topic: str) -> tuple[list[MqttSource], bool]:
        found = [one for one in settings.source if topic_matches_sub(one.topic, topic)]
        return found, topic_matches_sub(settings.topic, topic)

    def decode(frame: Frame, now_ms: int) -> Decoded:
        found, is_senml = meant(frame.label)
        if found:
            return _from_sources(frame.payload, found)
        if is_senml:
            return senml.decode(frame.payload, now_ms)
        # A session the broker kept may still hold a topic that the settings have dropped.
        raise BadPayload("the settings name no source with this topic")

    return decode


def _from_sources(payload: bytes, sources: list[MqttSource]) -> Decoded:
    from collector import payload as messages

    together, faults = Decoded(), []
    for source in sources:
        try:
            one = messages.decode(payload, source)
        except BadPayload as fault:
            faults.append(f"probe {source.probe}: {fault}")
            continue
        together.measured += one.measured
        together.ignored += one.ignored
    if faults and not together.measured and not together.ignored:
        raise BadPayload("; ".join(faults))
    together.ignored += [Ignored("unreadable", fault) for fault in faults]
    return together
