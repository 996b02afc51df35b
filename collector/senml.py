"""SenML in JSON (RFC 8428): bytes in, measurements out, no I/O.

All of section 4's rules for JSON are kept. A pack that breaks one is refused whole, with one
line that names the record (counted from 1) and the field: a device that gets one thing wrong is
not to be trusted with the rest.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from collector.measured import (
    FAULT,
    LONGEST_PROBE_NAME,
    Decoded,
    Ignored,
    Measured,
    in_our_unit,
    probe_of,
)
from collector.senml_pack import pack
from collector.strict_json import is_number, parse, shown, text_of
from config.errors import BadPayload

__all__ = ["RELATIVE_BELOW_S", "VERSION", "SenmlRecord", "decode", "pack", "resolve"]

VERSION = 10
"""The version of the format that is understood (RFC 8428 §4.4)."""
RELATIVE_BELOW_S = 2**28
"""Times below this are relative to now (RFC 8428 §4.5.3), in seconds."""
_LATEST_S = 253_402_300_799
"""9999-12-31T23:59:59Z, the last second RFC 3339 can write."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")


@dataclass(frozen=True, slots=True)
class SenmlRecord:
    """One resolved record (RFC 8428 §4.6): it stands alone, with an absolute time.

    Exactly one of `value`, `text`, `truth` and `data` is set, or none where there is a `sum`.
    `relative` tells that the record came without a time of its own.
    """

    name: str
    unit: str | None
    at_ms: int
    relative: bool
    value: float | None = None
    text: str | None = None
    truth: bool | None = None
    data: str | None = None
    sum: float | None = None
    update_s: float | None = None


def resolve(text: str, now_ms: int) -> list[SenmlRecord]:
    """The resolved records of the pack in `text`, in its order; `now_ms` serves relative times.

    Raises BadPayload, one line, when the pack breaks a rule of RFC 8428 §4.
    """
    document = parse(text)
    if not isinstance(document, list):
        raise BadPayload("not a SenML pack: it is not an array of records")
    if not document:
        raise BadPayload("not a SenML pack: it holds no record")
    base: dict[str, object] = {}
    records = []
    for number, entry in enumerate(document, start=1):
        fields = _checked(entry, number)
        _rebase(base, fields, number)
        records.append(_resolved(base, fields, number, now_ms))
    return records


def decode(payload: bytes, now_ms: int) -> Decoded:
    """The measurements of a pack as it came over the wire. Raises BadPayload.

    The unit decides the quantity. Records in other units, or without a number, are resolved and
    then ignored: a device may say more than is kept.
    """
    decoded = Decoded()
    for number, record in enumerate(resolve(text_of(payload), now_ms), start=1):
        found = None if record.value is None else in_our_unit(record.value, record.unit)
        if found is None:
            decoded.ignored.append(_why_ignored(record, number))
            continue
        probe = probe_of(record.name)
        if len(probe) > LONGEST_PROBE_NAME:
            raise _bad(number, "n", f"the name is longer than {LONGEST_PROBE_NAME} characters")
        at_ms = None if record.relative else record.at_ms
        offset_ms = record.at_ms - now_ms if record.relative else 0
        decoded.measured.append(Measured(probe, *found, at_ms=at_ms, offset_ms=offset_ms))
    return decoded


def _why_ignored(record: SenmlRecord, number: int) -> Ignored:
    if record.text is not None and record.name.endswith(FAULT):
        probe = record.name.removesuffix(FAULT)
        return Ignored("sensor fault", f"{probe}: {record.text}", about=probe)
    if record.value is None:
        return Ignored("not a number", f"record {number} holds no number")
    return Ignored("other unit", f"record {number}: unit {shown(record.unit)} is not kept")


# ---- one record's fields ---------------------------------------------------------------------


def _is_text(thing: object) -> bool:
    return isinstance(thing, str)


def _is_version(thing: object) -> bool:
    return isinstance(thing, int) and not isinstance(thing, bool) and thing > 0


def _is_data(thing: object) -> bool:
    return isinstance(thing, str) and _BASE64URL.fullmatch(thing) is not None


_KINDS: dict[str, tuple[Callable[[object], bool], str]] = {
    **dict.fromkeys(("bn", "bu", "n", "u", "vs"), (_is_text, "a text")),
    **dict.fromkeys(("bt", "bv", "bs", "v", "s", "t", "ut"), (is_number, "a number")),
    "bver": (_is_version, "a positive whole number"),
    "vb": (lambda thing: isinstance(thing, bool), "true or false"),
    "vd": (_is_data, "base64url text"),
}
_BASE = ("bn", "bt", "bu", "bv", "bs")
_VALUES = ("v", "vs", "vb", "vd")


def _checked(entry: object, number: int) -> dict[str, object]:
    """The known fields of a record, each of its type; unknown ones are left out (§4.4)."""
    if not isinstance(entry, dict):
        raise BadPayload(f"record {number}: {shown(entry)} is not a record")
    known: dict[str, object] = {}
    for label, thing in entry.items():
        kind = _KINDS.get(label)
        if kind is not None:
            if not kind[0](thing):
                raise _bad(number, label, f"{shown(thing)} is not {kind[1]}")
            known[label] = thing
        elif label.endswith("_"):
            raise _bad(number, label, "has to be understood, and is not known here")
    return known


def _rebase(base: dict[str, object], fields: dict[str, object], number: int) -> None:
    """Base fields hold for their record and all later ones until the same comes again (§4.1)."""
    version = fields.get("bver", base.get("bver", VERSION))
    if isinstance(version, int) and version > VERSION:
        raise _bad(number, "bver", f"version {shown(version)} is newer than {VERSION}")
    if version != base.setdefault("bver", version):
        raise _bad(number, "bver", "is not the same in all records of the pack")
    for label in _BASE:
        if label in fields:
            base[label] = fields[label]


def _resolved(
    base: dict[str, object], fields: dict[str, object], number: int, now_ms: int
) -> SenmlRecord:
    values = [label for label in _VALUES if label in fields]
    if len(values) > 1:
        raise _bad(number, values[1], f"stands beside {values[0]}; one value is allowed")
    if not values and "s" not in fields:
        raise BadPayload(f"record {number}: has no value (v, vs, vb or vd) and no sum (s)")
    at_ms, relative = _time(base, fields, number, now_ms)
    return SenmlRecord(
        name=_name(base, fields, number),
        unit=_text(fields.get("u", base.get("bu"))),
        at_ms=at_ms,
        relative=relative,
        value=_added(base, fields, "bv", "v", number),
        text=_text(fields.get("vs")),
        truth=_truth(fields.get("vb")),
        data=_text(fields.get("vd")),
        sum=_added(base, fields, "bs", "s", number),
        update_s=_number(fields.get("ut")),
    )


def _name(base: dict[str, object], fields: dict[str, object], number: int) -> str:
    name = f"{base.get('bn', '')}{fields.get('n', '')}"
    if _NAME.fullmatch(name) is None:
        label = "n" if "n" in fields else "bn"
        raise _bad(number, label, f"{shown(name)} is not a SenML name")
    return name


def _time(
    base: dict[str, object], fields: dict[str, object], number: int, now_ms: int
) -> tuple[int, bool]:
    """The record's time in ms UTC, and whether it was relative to now."""
    time_s = (_number(base.get("bt")) or 0.0) + (_number(fields.get("t")) or 0.0)
    relative = time_s < RELATIVE_BELOW_S
    total_s = time_s + (now_ms / 1000.0 if relative else 0.0)
    if not 0.0 <= total_s <= _LATEST_S:
        label = "t" if "t" in fields else "bt"
        raise _bad(number, label, f"{shown(time_s)} s is no time between 1970 and 9999")
    return (now_ms + round(time_s * 1000.0) if relative else round(time_s * 1000.0)), relative


def _added(
    base: dict[str, object], fields: dict[str, object], base_label: str, label: str, number: int
) -> float | None:
    own = _number(fields.get(label))
    if own is None:
        return None
    total = own + (_number(base.get(base_label)) or 0.0)
    if total - total != 0.0:  # two large numbers can add up to infinity
        raise _bad(number, label, "is too large")
    return total


def _number(thing: object) -> float | None:
    return float(thing) if isinstance(thing, int | float) else None


def _text(thing: object) -> str | None:
    return thing if isinstance(thing, str) else None


def _truth(thing: object) -> bool | None:
    return thing if isinstance(thing, bool) else None


def _bad(number: int, label: str, why: str) -> BadPayload:
    return BadPayload(f"record {number}, field {shown(label)[1:-1]}: {why}")
