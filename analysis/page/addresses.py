"""Where things stand on the page, whatever they are called."""

from __future__ import annotations

from urllib.parse import quote, urlencode


def animal_path(name: str) -> str:
    """The screen of one animal: "/animal/Maren".

    A name that is itself a step in a path ("." or "..", which every browser takes out of an
    address, RFC 3986 §5.2.4) is handed over as a question instead.
    """
    if name in (".", ".."):
        return f"/animal?{urlencode({'name': name})}"
    return f"/animal/{quote(name, safe='')}"
