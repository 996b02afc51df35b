"""Where alarms go: the apprise addresses of the settings. They hold secrets, so they are told
apart by a digest, named by where they stand, and never logged."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote, unquote

from config.home import Home
from config.settings import Settings

_SCHEME = re.compile(r"([a-z][a-z0-9+.-]{0,19})://", re.IGNORECASE)
_LEAST_SECRET = 3
_MOST_FAULT = 200
_MOST_FILE_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class Address:
    """One apprise address. `url` is a secret; `label` is for logs."""

    url: str = field(repr=False)
    label: str

    @property
    def digest(self) -> str:
        """By what the outbox knows it."""
        return hashlib.blake2b(self.url.encode(), digest_size=16).hexdigest()

    def scrubbed(self, text: str) -> str:
        """`text` on one line, not too long, with everything that the address holds taken out."""
        line = " ".join(text.split())
        for part in sorted(self._parts(), key=len, reverse=True):
            line = re.sub(re.escape(part), "…", line, flags=re.IGNORECASE)
        return line if len(line) <= _MOST_FAULT else line[: _MOST_FAULT - 1] + "…"

    def _parts(self) -> set[str]:
        rest = _SCHEME.sub("", self.url, count=1)
        pieces = {rest, *re.split(r"[/:@?&=,;#+ ]+", rest), *re.split(r"[/?&]+", rest)}
        variants = {v for p in pieces for v in (p, unquote(p), quote(p), quote(p, safe=""))}
        return {v for v in variants if len(v) >= _LEAST_SECRET}


def read_addresses(home: Home, settings: Settings) -> tuple[list[Address], list[str]]:
    """The addresses of the settings and of the notify file, each once; and what is wrong there.

    A file that cannot be read takes no alarm from the other addresses: it is a fault in words.
    """
    watch = settings.watch
    return _addresses(home, watch.notify, watch.notify_file, "notify")


def read_others(home: Home, settings: Settings) -> tuple[list[Address], list[str]]:
    """The same for those who are told of what nobody has answered."""
    watch = settings.watch
    return _addresses(home, watch.tell_others, watch.tell_others_file, "tell_others")


def _addresses(
    home: Home, urls: Sequence[str], file: Path | None, name: str
) -> tuple[list[Address], list[str]]:
    found: dict[str, Address] = {}
    for number, url in enumerate(urls, start=1):
        _add(found, url.strip(), f"watch.{name}[{number}]")
    lines, faults = _lines(home, file, name)
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            _add(found, line.strip(), f"{name}_file line {number}")
    return list(found.values()), faults


def _add(found: dict[str, Address], url: str, where: str) -> None:
    scheme = _SCHEME.match(url)
    label = f"{where} ({scheme[1].lower()})" if scheme else where
    found.setdefault(url, Address(url, label))


def _lines(home: Home, file: Path | None, name: str) -> tuple[list[str], list[str]]:
    if file is None:
        return [], []
    path = home.folder / file.expanduser()
    try:
        with path.open("rb") as opened:
            text = opened.read(_MOST_FILE_BYTES).decode("utf-8")
    except OSError as fault:
        return [], [
            f"watch.{name}_file {path}: cannot be read: {fault.strerror}; no alarm goes there"
        ]
    except UnicodeDecodeError:
        return [], [f"watch.{name}_file {path}: not UTF-8 text; no alarm goes there"]
    return text.splitlines(), []
