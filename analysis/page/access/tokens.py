"""Tokens for programs that ask the API: made and revoked by name; only a digest is kept."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path

from analysis.page.access.access_file import opened
from analysis.page.access.sessions import digest_of
from config.errors import NotSo, Unusable

PREFIX = "warmcoil_"
"""Every token begins so, so that one that went astray is recognised."""
_MOST_NAME = 64


@dataclass(frozen=True, slots=True)
class Token:
    """A token as it is kept: never itself."""

    name: str
    made_ms: int


class Tokens:
    """The tokens of one home."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def make(self, name: str, now_ms: int) -> str:
        """A new token of that name, said this once. Raises Unusable when the name is taken."""
        name = name.strip()
        if not name or len(name) > _MOST_NAME or not name.isprintable():
            raise Unusable(f"a token's name has 1 to {_MOST_NAME} signs on one line; got {name!r}")
        token = PREFIX + secrets.token_urlsafe(32)
        with opened(self._path) as file:
            if file.execute("SELECT 1 FROM token WHERE name = ?", (name,)).fetchone():
                raise Unusable(
                    f"there is a token {name!r} already; revoke it first: "
                    f"warmcoil token revoke {name}"
                )
            file.execute("INSERT INTO token VALUES (?, ?, ?)", (name, digest_of(token), now_ms))
        return token

    def all(self) -> list[Token]:
        """All that have not been revoked, by name."""
        if not self._path.exists():
            return []
        with opened(self._path) as file:
            rows = file.execute("SELECT name, made_ms FROM token ORDER BY name").fetchall()
        return [Token(row["name"], row["made_ms"]) for row in rows]

    def revoke(self, name: str) -> None:
        """End one, from this moment on. Raises NotSo when there is none of that name."""
        known = [token.name for token in self.all()]
        if name not in known:
            raise NotSo(f"no token {name!r}; there are: {', '.join(known) or 'none'}")
        with opened(self._path) as file:
            file.execute("DELETE FROM token WHERE name = ?", (name,))

    def holder(self, token: str) -> str | None:
        """The name of a token that holds, or None."""
        if not token.startswith(PREFIX) or not self._path.exists():
            return None
        with opened(self._path) as file:
            row = file.execute(
                "SELECT name FROM token WHERE digest = ?", (digest_of(token),)
            ).fetchone()
        return None if row is None else str(row["name"])
