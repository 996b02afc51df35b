"""One request's standing: who it is from, and the cookie that its forms are bound to."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from starlette.requests import HTTPConnection

from analysis.page.access.access import Access


@dataclass(slots=True)
class Visit:
    """Made by the guard for each request."""

    access: Access
    secure: bool
    """True when the request came over TLS."""
    session: str = ""
    """The session's key; empty without one."""
    bearer: str | None = None
    """The name of the token that a program showed."""
    form_cookie: str = ""
    new_form_cookie: bool = False

    @property
    def signed_in(self) -> bool:
        """True for a person who said the pass phrase."""
        return bool(self.session)

    def form_token(self) -> str:
        """The token for a form on this page: `<input type="hidden" name="form_token" ...>`."""
        return self.access.form_token(self._bound_to())

    def is_own_form(self, token: str) -> bool:
        """True when the token is of a form that was shown to this very visitor."""
        return self.access.is_form_token(token, self.session or self.form_cookie)

    def _bound_to(self) -> str:
        if self.session:
            return self.session
        if not self.form_cookie:
            self.form_cookie = secrets.token_urlsafe(24)
            self.new_form_cookie = True
        return self.form_cookie


def visit_of(request: HTTPConnection) -> Visit:
    """The standing of a request."""
    visit: Visit = request.state.visit
    return visit


def cookie_name(kind: str, secure: bool) -> str:
    """A cookie's name. Over TLS the prefix keeps anyone but this host from setting it
    (RFC 6265bis §4.1.3)."""
    return f"__Host-warmcoil-{kind}" if secure else f"warmcoil-{kind}"


def set_cookie(kind: str, value: str, secure: bool, *, max_age_s: int | None = None) -> str:
    """A Set-Cookie header for one of our cookies; `max_age_s` 0 takes it away."""
    parts = [f"{cookie_name(kind, secure)}={value}", "Path=/", "HttpOnly", "SameSite=Strict"]
    if max_age_s is not None:
        parts.append(f"Max-Age={max_age_s:d}")
    return "; ".join([*parts, "Secure"] if secure else parts)
