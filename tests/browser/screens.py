"""The screens there are, found by themselves: every address of the app that a browser shows.

A screen with a part to fill in (`/meal/{meal}`) needs examples here; one without is a failure.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import quote

from starlette.routing import Route

from analysis.page.faults import for_programs
from analysis.page.finding import routers
from tests.browser.furnished import LONG, UNBROKEN

SEEN = ("weight", "handling", "shed", "look", "droppings")


def named(name: str) -> str:
    """A name as a part of an address."""
    return quote(name, safe="")


EXAMPLES: dict[str, tuple[str, ...]] = {
    "/animal": (f"/animal?name={named(UNBROKEN)}",),
    "/animal/{}": ("/animal/Maren", f"/animal/{named(UNBROKEN)}"),
    "/animal/{}/for-the-vet": ("/animal/Maren/for-the-vet",),
    "/answer/{}": ("/answer/LINK",),
    "/enclosure/{}": (f"/enclosure/{named('left shelf')}", f"/enclosure/{named(LONG)}"),
    "/enter": (),  # the door: no place for who is inside; tests of its own
    "/enclosure/{}/what-it-is-like": (f"/enclosure/{named(LONG)}/what-it-is-like",),
    "/meal/{}": ("/meal/2", "/meal/3", "/meal/4"),
    "/meal/{}/correct": ("/meal/2/correct",),
    "/probes/calibrate": (
        "/probes/calibrate?probe=warm",
        "/probes/calibrate?probe=warm&bath=second",
    ),
    "/probes/find": ("/probes/find?began=NOW",),
    "/probes/move": ("/probes/move?probe=warm",),
    "/static/{}/{}": (),  # the files of the page: no screen
    "/write/meal": ("/write/meal", "/write/meal?animal=Maren"),
    "/write/outcome": ("/write/outcome", "/write/outcome?meal=3"),
    "/written/{}": ("/written/9",),
    **{f"/write/{kind}": (f"/write/{kind}?animal=Maren",) for kind in SEEN},
}
"""The addresses to open, by the address with its parts left out; every other is opened as it is.
LINK: the token of an alarm's link; NOW: in ms since 1970."""


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen's address as its router says it, and those to open."""

    template: str
    addresses: tuple[str, ...]


def screens() -> list[Screen]:
    """Every screen. One that is not known how to open has no addresses."""
    return [Screen(one, examples(one) or ()) for one in sorted(set(_templates()))]


def examples(template: str) -> tuple[str, ...] | None:
    """The addresses to open; None when nobody said how to fill this one in."""
    plain = re.sub(r"{[^}]*}", "{}", template)
    return EXAMPLES.get(plain, None if "{}" in plain else (template,))


def _templates() -> Iterator[str]:
    for router in routers():
        for one in router.routes:
            if not isinstance(one, Route) or "GET" not in (one.methods or ()):
                continue
            file = "." in one.path.rpartition("/")[2]  # to take away
            if not file and not for_programs(one.path):
                yield one.path


def addresses() -> list[str]:
    """All addresses to open, for who is inside."""
    return [address for one in screens() for address in one.addresses]
