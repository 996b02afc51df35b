"""Everything that decides who may look, put together."""

from __future__ import annotations

import hmac
import logging
import secrets
import time
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

from analysis.page.access.access_file import access_path, opened
from analysis.page.access.hosts import own_names
from analysis.page.access.passphrase import PassphraseFile
from analysis.page.access.sessions import Sessions
from analysis.page.access.throttle import Throttle
from analysis.page.access.tokens import Tokens
from config.errors import StoreFault
from config.home import Home
from config.settings import Settings

log = logging.getLogger("page")


class Access:
    """Of one home. Tokens and pass phrase may be changed by another process at any time."""

    def __init__(
        self,
        home: Home,
        settings: Settings,
        now_ms: Callable[[], int],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._path: Path = access_path(home.folder)
        self.passphrase = PassphraseFile(home.folder)
        self.sessions = Sessions(self._path)
        self.tokens = Tokens(self._path)
        self.throttle = Throttle(monotonic)
        self.link_throttle = Throttle(monotonic)
        """Apart from the door's: who tries links must not keep the keeper from coming in."""
        self.names = own_names(settings)
        self.now_ms = now_ms

    def form_token(self, cookie: str) -> str:
        """The token of every form that is shown to who holds this cookie."""
        return hmac.digest(self._form_key, f"form\0{cookie}".encode(), "sha256").hex()

    def is_form_token(self, token: str, cookie: str) -> bool:
        """True when a form with this token was shown to who holds this cookie."""
        if not cookie or not token.isascii():
            return False
        return hmac.compare_digest(token, self.form_token(cookie))

    @cached_property
    def _form_key(self) -> bytes:
        """Kept, so that a form that is open while the page starts again can still be sent."""
        try:
            with opened(self._path) as file:
                fresh = secrets.token_bytes(32)
                file.execute("INSERT OR IGNORE INTO secret VALUES ('form', ?)", (fresh,))
                row = file.execute("SELECT value FROM secret WHERE name = 'form'").fetchone()
                return bytes(row["value"])
        except StoreFault as fault:
            log.warning("%s; forms that are open when the page ends have to be filled anew", fault)
            return secrets.token_bytes(32)
