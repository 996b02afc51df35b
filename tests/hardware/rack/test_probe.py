"""What probes make of the air, against their datasheets."""

from __future__ import annotations

import math

import pytest
from crccheck.crc import Crc8MaximDow

from collector.readings import Quantity
from collector.sources import onewire
from config.errors import BadPayload
from hardware.rack import probe as probe_module
from hardware.rack.probe import NO_ANSWER_C, SENSORS, Probe, ProbeBuild

AT_MS = 1_700_000_000_000


def test_a_ds18b20_speaks_in_sixteenths() -> None:
    # DS18B20 datasheet, table 1: 12 bits, 0.0625 °C a step.
    probe = Probe(ProbeBuild("p"), seed=1)
    for k in range(200):
        (sample,) = probe.read(AT_MS + k * 10_000, 20 + k * 0.0371, None)
        assert (sample.value * 16).is_integer()
        assert sample.quantity is Quantity.TEMPERATURE


def test_an_sht_speaks_in_hundredths_and_of_humidity_too() -> None:
    probe = Probe(ProbeBuild("p", "SHT4x"), seed=1)
    warmth, moisture = probe.read(AT_MS, 25.123456, 61.98765)
    assert (warmth.value, moisture.value) == (round(warmth.value, 2), round(moisture.value, 2))
    assert moisture.quantity is Quantity.HUMIDITY
    assert all(0 <= s.value <= 100 for s in probe.read(AT_MS + 1, 25.0, 100.0)[1:])


def test_it_lags_with_its_time_constant() -> None:
    probe = Probe(ProbeBuild("p"), seed=1)
    probe.read(AT_MS, 20.0, None)
    (sample,) = probe.read(AT_MS + 90_000, 30.0, None)
    # After one time constant 1 − 1/e of a step is seen; noise and step are far smaller.
    assert sample.value == pytest.approx(30 - 10 / math.e, abs=0.2)


def test_noise_and_offset_are_of_the_size_they_should_be() -> None:
    probe = Probe(ProbeBuild("p", "SHT4x", offset_c=0.5), seed=5)
    values = [probe.read(AT_MS + k * 60_000, 30.0, None)[0].value for k in range(2000)]
    mean = sum(values) / len(values)
    sigma = math.sqrt(sum((v - mean) ** 2 for v in values) / len(values))
    assert mean == pytest.approx(30.5, abs=0.005)
    assert sigma == pytest.approx(SENSORS["SHT4x"].noise_c, rel=0.1)


def test_without_contact_and_after_power_on() -> None:
    # DS18B20 datasheet, table 1, footnote: the power-on value is +85 °C.
    probe = Probe(ProbeBuild("p"), seed=1)
    assert probe.read(AT_MS, 30.0, None, plugged=False)[0].value == NO_ANSWER_C == -127.0
    assert probe.read(AT_MS + 10_000, 30.0, None)[0].value == 85.0
    assert probe.read(AT_MS + 20_000, 30.0, None)[0].value == pytest.approx(30.0, abs=0.3)
    probe.power_lost()
    assert probe.read(AT_MS + 30_000, 30.0, None)[0].value == 85.0
    silent = Probe(ProbeBuild("p", "SHT4x"), seed=1)
    assert silent.read(AT_MS, 30.0, 50.0, plugged=False) == []
    assert silent.read(AT_MS + 10_000, 30.0, 50.0)[0].value == pytest.approx(30.0, abs=0.3)


def test_what_it_says_went_through_the_bytes_of_its_sensor(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scratchpad that a node refuses is no value: what is said was decoded by the node's code."""
    seen: list[bytes] = []
    decode = probe_module._said

    def said(pad: bytes) -> float:
        seen.append(pad)
        return decode(pad)

    monkeypatch.setattr(probe_module, "_said", said)
    probe = Probe(ProbeBuild("p"), seed=1)
    probe.read(AT_MS, 25.0, None)
    probe.read(AT_MS + 1000, 25.0, None, plugged=False)
    probe.read(AT_MS + 2000, 25.0, None)
    warm, nobody, power_up = seen
    # Reserved bytes and CRC as in the datasheet's memory map; the host's decoder reads it too.
    assert warm[5:8] == b"\xff\x0c\x10"
    assert Crc8MaximDow.calc(warm) == 0
    assert onewire.scratchpad_c(warm) == pytest.approx(25.0, abs=0.2)
    assert onewire.scratchpad_c(power_up) == 85.0
    with pytest.raises(BadPayload):
        onewire.scratchpad_c(nobody)
