"""Under which names the page may be asked, and from which pages a form may come.

A web site that makes its own name point at this machine (DNS rebinding) has that name in the Host
header; an address in figures cannot be made to point elsewhere. So figures, this machine's own
names and the name of `page.address` in the settings are taken, and nothing else.
"""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

from config.settings import Settings

_HERE = frozenset({"localhost"})


def own_names(settings: Settings) -> frozenset[str]:
    """The names under which the page may be asked, in lower case."""
    machine = socket.gethostname().lower().partition(".")[0]
    names = {machine, f"{machine}.local", settings.page.host.lower()} if machine else set()
    if settings.page.address is not None:
        named = urlsplit(settings.page.address).hostname
        names |= {named.lower()} if named else set()
    return _HERE | names - {"0.0.0.0", "::", ""}  # noqa: S104  # taken out, not listened on


def host_name(host: str) -> str | None:
    """The name of a Host header, without its port, in lower case; None when it is not one."""
    try:
        parts = urlsplit(f"//{host}")
        if parts.port is not None and not 0 < parts.port < 65_536:
            return None
    except ValueError:
        return None
    plain = parts.path == parts.query == parts.fragment == "" and parts.username is None
    return parts.hostname if plain and parts.hostname else None


def is_ours(host: str, names: frozenset[str]) -> bool:
    """True when a Host header names this page."""
    name = host_name(host)
    return name is not None and (name.rstrip(".") in names or _is_figures(name))


def is_here(address: str) -> bool:
    """True for an address of this machine itself."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return (mapped or found).is_loopback


def _is_figures(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
