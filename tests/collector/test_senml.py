"""SenML (RFC 8428): its own examples, every rule of its section 4, and the way back."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.measured import Measured, name_of, probe_of
from collector.readings import Quantity
from collector.senml import decode, pack, resolve
from config.errors import BadPayload

NOW_MS = 1_900_000_000_000


def refused(text: str) -> str:
    with pytest.raises(BadPayload) as caught:
        resolve(text, NOW_MS)
    said = str(caught.value)
    assert "\n" not in said
    assert len(said) < 200
    return said


# ---- RFC 8428 section 5.1, its examples (read) -------------------------------------------------


def test_rfc_8428_5_1_1_single_datapoint() -> None:
    (record,) = resolve('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', NOW_MS)
    assert (record.name, record.unit, record.value) == ("urn:dev:ow:10e2073a01080063", "Cel", 23.1)
    assert (record.at_ms, record.relative) == (NOW_MS, True)


def test_rfc_8428_5_1_3_multiple_datapoints() -> None:
    text = """[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
      {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965},
      {"t":60,"v":20.3}, {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965},
      {"t":120,"v":20.7}, {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
      {"u":"%EL","t":150,"v":98}, {"t":180,"v":21.2}
    ]"""
    records = resolve(text, NOW_MS)
    assert {record.name for record in records} == {"urn:dev:ow:10e2073a01080063"}
    assert not any(record.relative for record in records)
    found = [(r.unit, r.value, r.at_ms // 1000) for r in records if r.unit in ("%RH", "%EL")]
    assert found == [
        ("%RH", 20, 1320067464),
        ("%RH", 20.3, 1320067524),
        ("%RH", 20.7, 1320067584),
        ("%EL", 98, 1320067614),
        ("%RH", 21.2, 1320067644),
    ]
    kept = decode(text.encode(), NOW_MS)
    assert [one.raw for one in kept.measured] == [20, 20.3, 20.7, 21.2]
    assert len(kept.ignored) == 7  # longitude, latitude and battery are resolved, and not kept


# ---- RFC 8428 section 4, rule by rule ----------------------------------------------------------


def test_base_fields_hold_until_the_same_field_comes_again() -> None:
    text = """[{"bn":"a","bu":"Cel","bt":1600000000,"bv":1,"v":1}, {"n":"x","v":2},
               {"bn":"b","v":3}, {"bu":"K","bt":1700000000,"bv":10,"v":4},
               {"u":"V","t":-5,"v":5}]"""
    assert [(r.name, r.unit, r.value, r.at_ms) for r in resolve(text, NOW_MS)] == [
        ("a", "Cel", 2, 1_600_000_000_000),
        ("ax", "Cel", 3, 1_600_000_000_000),
        ("b", "Cel", 4, 1_600_000_000_000),
        ("b", "K", 14, 1_700_000_000_000),
        ("b", "V", 15, 1_699_999_995_000),
    ]


@pytest.mark.parametrize(
    "version", ['{"bver":10,"n":"a","v":1}', '{"bver":5,"n":"a","v":1},{"n":"b","v":1}']
)
def test_versions_up_to_ten_are_read(version: str) -> None:
    assert resolve(f"[{version}]", NOW_MS)


@pytest.mark.parametrize(
    ("records", "told"),
    [
        ('{"bver":11,"n":"a","v":1}', "record 1, field bver: version 11 is newer than 10"),
        ('{"bver":5,"n":"a","v":1},{"bver":10,"n":"a","v":1}', "record 2, field bver: is not the"),
        ('{"n":"a","v":1},{"bver":5,"n":"a","v":1}', "record 2, field bver: is not the same"),
        ('{"bver":10.5,"n":"a","v":1}', "record 1, field bver: 10.5 is not a positive whole"),
        ('{"bver":true,"n":"a","v":1}', "record 1, field bver: true is not a positive whole"),
        ('{"bver":0,"n":"a","v":1}', "record 1, field bver: 0 is not a positive whole"),
    ],
)
def test_other_versions_are_refused(records: str, told: str) -> None:
    assert refused(f"[{records}]").startswith(told)


def test_an_unknown_field_is_ignored() -> None:
    assert resolve('[{"n":"a","v":1,"battery":{"deep":[1,2]}}]', NOW_MS)[0].value == 1


def test_an_unknown_field_that_must_be_understood_is_an_error() -> None:
    assert refused('[{"n":"a","v":1},{"n":"b","v":2,"lock_":1}]') == (
        "record 2, field lock_: has to be understood, and is not known here"
    )


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ('"v":1,"vs":"x"', "record 1, field vs: stands beside v"),
        ('"vb":true,"vd":"aGk"', "record 1, field vd: stands beside vb"),
        ('"u":"Cel"', "record 1: has no value (v, vs, vb or vd) and no sum (s)"),
        ('"bs":1', "record 1: has no value (v, vs, vb or vd) and no sum (s)"),
    ],
)
def test_exactly_one_value_unless_there_is_a_sum(fields: str, told: str) -> None:
    assert refused(f'[{{"n":"a",{fields}}}]').startswith(told)


def test_a_sum_alone_is_enough_and_gets_its_base() -> None:
    first, second = resolve('[{"n":"a","bs":10,"s":2},{"n":"a","s":3,"v":1}]', NOW_MS)
    assert (first.value, first.sum) == (None, 12)
    assert (second.value, second.sum) == (1, 13)


def test_every_kind_of_value() -> None:
    text = '[{"bn":"a","vs":"on"},{"vb":false},{"vd":"aGkg-_"},{"v":-1e3,"ut":60}]'
    words, truth, data, number = resolve(text, NOW_MS)
    assert (words.text, truth.truth, data.data) == ("on", False, "aGkg-_")
    assert (number.value, number.update_s) == (-1000, 60)


@pytest.mark.parametrize("name", ["a", "0", "urn:dev:ow:10e2073a01080063", "A.b/c_d-e:f"])
def test_names_that_are_names(name: str) -> None:
    assert resolve(json.dumps([{"bn": name[0], "n": name[1:], "v": 1}]), NOW_MS)[0].name == name


@pytest.mark.parametrize("name", ["", "_a", "-a", ":a", "/a", ".a", "a b", "a\n", "ä", "a\u0000"])
def test_names_that_are_none(name: str) -> None:
    assert "is not a SenML name" in refused(json.dumps([{"n": name, "v": 1}]))


@pytest.mark.parametrize(
    ("fields", "seconds"),
    [
        ('"t":0', 0.0),
        ('"t":-60', -60.0),
        ('"t":268435455', 268_435_455.0),
        ('"bt":268435400,"t":55.5', 268_435_455.5),
        ('"bt":1700000000,"t":-1699999940', 60.0),
    ],
)
def test_times_below_two_to_the_28th_are_relative(fields: str, seconds: float) -> None:
    (record,) = resolve(f'[{{"n":"a","v":1,{fields}}}]', NOW_MS)
    assert record.relative
    assert record.at_ms == NOW_MS + round(seconds * 1000)


def test_times_from_two_to_the_28th_are_absolute() -> None:
    (record,) = resolve('[{"n":"a","v":1,"t":268435456}]', NOW_MS)
    assert (record.relative, record.at_ms) == (False, 268_435_456_000)


@pytest.mark.parametrize("seconds", ["1e15", "-1e15", "253402300800"])
def test_times_outside_of_1970_to_9999_are_refused(seconds: str) -> None:
    assert "is no time between 1970 and 9999" in refused(f'[{{"n":"a","v":1,"t":{seconds}}}]')


@pytest.mark.parametrize(
    ("label", "thing", "kind"),
    [
        *((label, "1", "a text") for label in ("bn", "bu", "n", "u", "vs")),
        *((label, "true", "a number") for label in ("bt", "bv", "bs", "v", "s", "t", "ut")),
        *((label, '"1"', "a number") for label in ("bt", "bv", "bs", "v", "s", "t", "ut")),
        *((label, "null", "a number") for label in ("v", "t")),
        ("vb", "1", "true or false"),
        ("vd", '"a+b/="', "base64url text"),
        ("v", "[1]", "a number"),
    ],
)
def test_every_field_has_its_type(label: str, thing: str, kind: str) -> None:
    fields = {"n": '"a"', "v": "1", label: thing}
    inside = ",".join(f'"{key}":{value}' for key, value in fields.items())
    text = f"[{{{inside}}}]"
    assert refused(text).startswith(f"record 1, field {label}: ")
    assert refused(text).endswith(f"is not {kind}")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "not JSON"),
        ("[", "not JSON"),
        ('[{"n":"a","v":1}', "not JSON"),
        ('[{"n":"a","v":1}] x', "not JSON"),
        ('{"n":"a","v":1}', "not a SenML pack: it is not an array of records"),
        ("[]", "not a SenML pack: it holds no record"),
        ("[1]", "record 1: 1 is not a record"),
        ('[{"n":"a","v":NaN}]', "not JSON: NaN is not a number"),
        ('[{"n":"a","v":-Infinity}]', "not JSON: -Infinity is not a number"),
        ('[{"n":"a","v":1e999}]', "not usable JSON: the number"),
        ('[{"n":"a","v":%s}]' % ("9" * 5000), "not usable JSON: the number"),
        ('[{"n":"a","v":1,"v":2}]', 'not usable JSON: the key "v" comes twice'),
        ('[{"n":"a","v":1e308,"bv":1e308}]', "record 1, field v: is too large"),
        ("[" * 60_000, "not usable JSON: nested too deeply"),
        ('[{"n":"a","v":1,"x":%s}]' % ("[" * 30_000 + "]" * 30_000), "not usable JSON: nested"),
    ],
)
def test_what_is_no_pack_is_refused_in_one_line(text: str, told: str) -> None:
    assert refused(text).startswith(told)


def test_bytes_that_are_not_utf_8_are_refused() -> None:
    with pytest.raises(BadPayload, match="not UTF-8 text at byte 3"):
        decode(b"[{\xff}]", NOW_MS)


@given(st.text(max_size=200) | st.binary(max_size=200).map(lambda b: b.decode("latin-1")))
def test_rubbish_is_read_or_refused_and_nothing_else(text: str) -> None:
    assert "\n" not in fault_of(text.encode("utf-8", "replace"))


def fault_of(payload: bytes) -> str:
    try:
        decode(payload, NOW_MS)
    except BadPayload as fault:
        return str(fault)
    return ""


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["n", "v", "bt", "bver", "u", "x_", "vs"]), inner, max_size=4
        )
    ),
    max_leaves=12,
)


@given(_JSON)
def test_any_json_is_read_or_refused_and_nothing_else(document: object) -> None:
    assert "\n" not in fault_of(json.dumps(document).encode())


# ---- names (RFC 9039, read in quotation) and units ---------------------------------------------


@pytest.mark.parametrize(
    ("name", "probe"),
    [
        ("urn:dev:ow:264437f5000000ed_humidity", "urn:dev:ow:264437f5000000ed"),
        ("urn:dev:ow:10e2073a0108006:voltage", "urn:dev:ow:10e2073a0108006"),
        ("urn:dev:mac:0024beffff804ff1", "urn:dev:mac:0024beffff804ff1"),
        ("urn:dev:ow:264437f5000000ed_left", "urn:dev:ow:264437f5000000ed_left"),
        ("shelf_temperature", "shelf"),
        ("temperature", "temperature"),
    ],
)
def test_a_last_part_that_names_the_quantity_is_not_part_of_the_probe(
    name: str, probe: str
) -> None:
    assert probe_of(name) == probe


def test_the_unit_decides_the_quantity_and_kelvin_is_converted() -> None:
    text = (
        b'[{"bn":"p","u":"K","v":298.15},{"n":"_temperature","u":"%RH","v":55},'
        b'{"u":"V","v":3.1},{"u":"%EL","v":98},{"v":1},{"u":"Cel","vs":"warm"}]'
    )
    decoded = decode(text, NOW_MS)
    assert [(one.probe, one.quantity, one.raw) for one in decoded.measured] == [
        ("p", Quantity.TEMPERATURE, 25.0),
        ("p", Quantity.HUMIDITY, 55),
        ("p", Quantity.VOLTAGE, 3.1),
    ]
    assert [one.reason for one in decoded.ignored] == ["other unit", "other unit", "not a number"]


def test_a_fault_travels_as_text_and_is_named_with_its_probe() -> None:
    """RFC 8428 §4.3: "vs" is a text. It stands beside readings and takes nothing from them."""
    text = b'[{"n":"p_fault","vs":"no answer"},{"n":"q","u":"Cel","v":1},{"n":"r_fault","v":2}]'
    decoded = decode(text, NOW_MS)
    assert [(one.probe, one.raw) for one in decoded.measured] == [("q", 1.0)]
    fault, number = decoded.ignored
    assert (fault.reason, fault.detail, fault.about) == ("sensor fault", "p: no answer", "p")
    assert number.reason == "other unit"


def test_the_power_on_value_stays_exact_through_kelvin() -> None:
    decoded = decode(b'[{"n":"p","u":"K","v":358.15},{"n":"q","u":"K","v":146.15}]', NOW_MS)
    assert [one.raw for one in decoded.measured] == [85.0, -127.0]


def test_a_name_past_all_measure_is_refused() -> None:
    with pytest.raises(BadPayload, match="record 1, field n: the name is longer than 128"):
        decode(b'[{"n":"%s","u":"Cel","v":1}]' % (b"a" * 129), NOW_MS)


# ---- the way back ------------------------------------------------------------------------------

_MEASURED = st.builds(
    Measured,
    probe=st.from_regex(r"[A-Za-z0-9][A-Za-z0-9:./_-]{0,20}", fullmatch=True)
    | st.sampled_from(["shelf_humidity", "urn:dev:ow:28ff641f43b2c1d0", "a:voltage"]),
    quantity=st.sampled_from(Quantity),
    raw=st.floats(-1e6, 1e6),
    at_ms=st.integers(2**28 * 1000, 4_000_000_000_000),
) | st.builds(
    Measured,
    probe=st.just("p"),
    quantity=st.sampled_from(Quantity),
    raw=st.floats(-1e6, 1e6),
    offset_ms=st.integers(-(10**9), 10**8),
)


@given(st.lists(_MEASURED, min_size=1, max_size=8))
def test_what_is_packed_comes_back_the_same(measured: list[Measured]) -> None:
    assert decode(pack(measured).encode(), NOW_MS).measured == measured


def test_a_name_that_ends_in_a_quantity_survives() -> None:
    assert name_of("shelf_humidity", Quantity.TEMPERATURE) == "shelf_humidity_temperature"


def test_nothing_and_nonsense_are_not_packed() -> None:
    with pytest.raises(ValueError, match="one record at least"):
        pack([])
    with pytest.raises(ValueError, match="not JSON compliant"):
        pack([Measured("p", Quantity.TEMPERATURE, math.nan)])
    with pytest.raises(ValueError, match="before 1978"):
        pack([Measured("p", Quantity.TEMPERATURE, 1.0, at_ms=1000)])
