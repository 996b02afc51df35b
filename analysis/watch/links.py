"""Signed links: what a keeper may ask of one alarm from a message, without a pass phrase.

A link names one alarm as it was raised, one action and its own end, and is signed with a key that
never leaves the home (HMAC-SHA256, RFC 2104). Whoever has the message has the link: it can
acknowledge and shelve that one alarm, once, and nothing else. Fetching a link must change nothing:
what scans mail fetches links. Only a confirmed request (POST) calls `carry_out`. The link of a
trial message answers no alarm: it shows that links arrive and lead to the page.
"""

from __future__ import annotations

import base64
import binascii
import contextlib
import hashlib
import hmac
import json
import os
import secrets
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from analysis.watch.alarm_file import open_alarms, speaking_of
from analysis.watch.requests import Action, Asked, ask, asked_with
from analysis.watch.states import HOUR_MS, AlarmKey, Kind
from config.errors import NotSo, StoreFault
from config.home import Home

VALID_MS = 48 * HOUR_MS
SHELVED_MS = 2 * HOUR_MS
"""For how long a link shelves."""
_KEY_BYTES = 32
_TRIAL = "trial"
WORDS = {Action.ACKNOWLEDGE: "I have seen it", Action.SHELVE: "Quiet for 2 h"}
"""What stands before a link in a message, and on the button that it leads to."""
_ALLOWED = (Action.ACKNOWLEDGE, Action.SHELVE)


@dataclass(frozen=True, slots=True)
class Offer:
    """What a link offers: an action on the alarm as it was raised at `raised_ms`."""

    action: Action
    key: AlarmKey
    raised_ms: int
    expires_ms: int


@dataclass(frozen=True, slots=True)
class Trial:
    """The link of a trial message, by its reference."""

    reference: str
    expires_ms: int


def signing_key(home: Home) -> bytes:
    """The home's key, made once, readable by its owner only. Raises StoreFault."""
    path = home.folder / "link.key"
    try:
        if not path.exists():
            _make(path)
        return _read(path)
    except OSError as fault:
        raise StoreFault(f"{path}: {fault.strerror}; links in messages cannot be made") from fault


def _make(path: Path) -> None:
    """Whole or not at all, also at a power cut; of two processes, the first one's key stays."""
    fresh = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(secrets.token_bytes(_KEY_BYTES))
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)


def _read(path: Path) -> bytes:
    key = path.read_bytes()
    if len(key) != _KEY_BYTES:
        raise StoreFault(f"{path}: not a key of ours; remove it, and a new one is made")
    return key


def sign(offer: Offer, key: bytes) -> str:
    """The token of a link: letters, digits, `-`, `_` and one `.`."""
    return _signed(
        [offer.action, offer.key.kind, offer.key.enclosure, offer.key.probe, offer.raised_ms,
         offer.expires_ms],
        key,
    )  # fmt: skip


def sign_trial(trial: Trial, key: bytes) -> str:
    """The token of a trial's link."""
    return _signed([_TRIAL, trial.reference, trial.expires_ms], key)


def _signed(said: list[str | int | None], key: bytes) -> str:
    octets = json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()
    return f"{_text(octets)}.{_text(_mac(octets, key))}"


def made_here(token: str, key: bytes) -> bool:
    """True for a link that was signed with this key, however old it is."""
    return _said(token, key) is not None


def verified(token: str, key: bytes, now_ms: int) -> Offer | Trial:
    """What a token offers. Raises NotSo when it was not made here, was altered, or is too old."""
    said = _said(token, key)
    if said is None:
        raise NotSo("this link was not made here, or not whole; open it from the message again")
    action, *rest, expires_ms = json.loads(said)
    if now_ms >= expires_ms:
        raise NotSo("this link is too old; answer on the page, or with: warmcoil acknowledge")
    if action == _TRIAL:
        return Trial(rest[0], expires_ms)
    kind, enclosure, probe, raised_ms = rest
    offer = Offer(Action(action), AlarmKey(Kind(kind), enclosure, probe), raised_ms, expires_ms)
    if offer.action not in _ALLOWED:
        raise NotSo("this link offers nothing that a link may do")
    return offer


def _said(token: str, key: bytes) -> bytes | None:
    """What is signed in a token; None when the signature is not ours."""
    said_text, _, mac_text = token.partition(".")
    said, mac = _octets(said_text), _octets(mac_text)
    if said is None or mac is None or not hmac.compare_digest(_mac(said, key), mac):
        return None
    return said


def require_standing(home: Home, offer: Offer) -> None:
    """Raises NotSo when the alarm does not stand any more as it was raised; StoreFault."""
    if _raised_ms(home.alarms, offer.key) != offer.raised_ms:
        raise NotSo("that alarm is over, or was raised anew; see the page, or: warmcoil alarms")


def used(home: Home, token: str) -> Asked | None:
    """What was asked by this link before; None when it was not used. Raises StoreFault."""
    return asked_with(home.alarms, _mark(token))


def carry_out(home: Home, token: str, *, who: str, now_ms: int) -> Offer | Trial:
    """Do what a confirmed link offers, once: the watch gets the request. Raises NotSo, StoreFault.

    Of two that confirm it in the same moment both are told that it was asked; it is so once.
    """
    offer = verified(token, signing_key(home), now_ms)
    if isinstance(offer, Trial):
        return offer
    if used(home, token) is not None:
        raise NotSo("this link was used already, and works once; nothing more was asked")
    require_standing(home, offer)
    until_ms = now_ms + SHELVED_MS if offer.action is Action.SHELVE else None
    ask(
        home.alarms, offer.action, offer.key,
        who=who, now_ms=now_ms, until_ms=until_ms, mark=_mark(token),
    )  # fmt: skip
    return offer


def links_for(
    key: AlarmKey, home: Home, page: str, now_ms: int, made_ms: int | None = None
) -> list[tuple[Action, str]]:
    """The links for a message about an alarm that stands; none when it does not, or was raised
    anew after the message was made (at `made_ms`)."""
    raised_ms = _raised_ms(home.alarms, key)
    if raised_ms is None or (made_ms is not None and raised_ms > made_ms):
        return []
    secret, base = signing_key(home), page.rstrip("/")
    return [
        (action, f"{base}/answer/{sign(Offer(action, key, raised_ms, now_ms + VALID_MS), secret)}")
        for action in _ALLOWED
    ]


def trial_link(reference: str, home: Home, page: str, now_ms: int) -> str:
    """The link for a trial message."""
    token = sign_trial(Trial(reference, now_ms + VALID_MS), signing_key(home))
    return f"{page.rstrip('/')}/answer/{token}"


def _raised_ms(alarms: Path, key: AlarmKey) -> int | None:
    """When the alarm was raised, if it stands."""
    with speaking_of(alarms), closing(open_alarms(alarms)) as connection:
        row = connection.execute(
            "SELECT raised_ms FROM alarm WHERE kind = ? AND enclosure = ? AND probe = ? "
            "AND state IN ('unacknowledged', 'acknowledged')",
            (key.kind, key.enclosure, key.probe or ""),
        ).fetchone()
    return None if row is None else row["raised_ms"]


def _mark(token: str) -> str:
    return f"link {hashlib.blake2b(token.encode(), digest_size=16).hexdigest()}"


def _mac(said: bytes, key: bytes) -> bytes:
    return hmac.digest(key, said, "sha256")


def _text(octets: bytes) -> str:
    return base64.urlsafe_b64encode(octets).rstrip(b"=").decode()


def _octets(text: str) -> bytes | None:
    try:
        octets = base64.urlsafe_b64decode(text.encode("ascii") + b"=" * (-len(text) % 4))
    except (ValueError, binascii.Error):
        return None
    return octets if _text(octets) == text else None
