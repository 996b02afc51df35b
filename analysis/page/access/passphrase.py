"""The pass phrase: kept as an argon2id hash (RFC 9106) in a file that only its owner may read."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING

from config.errors import StoreFault, Unusable

if TYPE_CHECKING:
    from argon2 import PasswordHasher

FEWEST_SIGNS = 10
"""Our own choice; three or four words have more."""
MOST_BYTES = 1024
# RFC 9106 §4 asks for 64 MiB with three passes where memory is scarce; half of that is what a
# small board can spare beside its other work, so one pass more (our own choice).
_MEMORY_KIB, _PASSES, _LANES = 32 * 1024, 4, 1


class PassphraseFile:
    """`passphrase` in the home. Read anew at each question, so that a change holds at once."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "passphrase"

    @property
    def is_set(self) -> bool:
        """True when there is one."""
        return self.path.exists()

    @property
    def mark(self) -> str:
        """Which pass phrase it is, without saying it; "" for none. A session holds for one only."""
        if not self.is_set:
            return ""
        return hashlib.blake2b(self._read(), digest_size=16).hexdigest()

    def set(self, phrase: str) -> None:
        """Keep this one from now on. Raises Unusable for one that is too short, StoreFault."""
        if len(phrase) < FEWEST_SIGNS:
            raise Unusable(
                f"the pass phrase has {len(phrase)} signs; take at least {FEWEST_SIGNS}, for "
                "example four words"
            )
        if len(phrase.encode()) > MOST_BYTES:
            raise Unusable(f"the pass phrase is too long: at most {MOST_BYTES} bytes")
        self._write(_hasher().hash(phrase).encode())

    def clear(self) -> bool:
        """Take it away; False when there was none."""
        there = self.is_set
        try:
            self.path.unlink(missing_ok=True)
        except OSError as fault:
            raise StoreFault(f"{self.path}: {fault.strerror}") from fault
        return there

    def fits(self, phrase: str) -> bool:
        """True when it is this one. Takes a fraction of a second and 32 MiB, on purpose."""
        from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415

        if not self.is_set or len(phrase.encode(errors="replace")) > MOST_BYTES:
            return False
        try:
            return _hasher().verify(self._read(), phrase)
        except InvalidHashError as fault:
            raise StoreFault(
                f"{self.path}: damaged; set the pass phrase again: warmcoil passphrase"
            ) from fault
        except VerificationError:
            return False

    def _read(self) -> bytes:
        try:
            return self.path.read_bytes()
        except OSError as fault:
            raise StoreFault(f"{self.path}: {fault.strerror}") from fault

    def _write(self, text: bytes) -> None:
        fresh = self.path.with_name(self.path.name + ".new")
        try:
            fresh.unlink(missing_ok=True)
            handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(self.path)
        except OSError as fault:
            raise StoreFault(f"{self.path}: {fault.strerror}") from fault


def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher  # noqa: PLC0415  only who logs in needs it

    return PasswordHasher(time_cost=_PASSES, memory_cost=_MEMORY_KIB, parallelism=_LANES)
