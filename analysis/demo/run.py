"""The demo kept running: broker, rack, collector and watch, each a process of its own."""

from __future__ import annotations

import importlib.util
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

from analysis.demo.build import FULL_DAYS, build_home
from analysis.demo.places import DemoPlaces
from analysis.demo.processes import Child, Family, module
from analysis.demo.settings import with_broker
from analysis.demo.tour import show, sights
from collector.book.book import Book
from collector.readings import Quantity, SeriesKey
from collector.service import only_one
from collector.store.reader import Reader
from config.errors import NotSo
from config.home import Home
from config.settings import load_settings
from hardware.rack.broker import HOST, Broker, free_port, port_is_free, prepare_broker
from hardware.rack.layout import load_layout

_EVERY_SECONDS = 5.0
_READY_SECONDS = 20.0
_LIVE_SECONDS = 90.0
_POLL_SECONDS = 0.2
_MODULES = ("collector", "analysis.watch", "analysis.page")


def run_demo(
    home: Home,
    *,
    days: int = FULL_DAYS,
    stay_seconds: float | None = None,
    every_seconds: float = _EVERY_SECONDS,
    broker_search: str | None = None,
    console: Console | None = None,
) -> int:
    """Build the demo home unless it is there, start everything, say what to look at, and stay.

    Stays until SIGINT or SIGTERM, or for `stay_seconds`; then ends every process it started.
    Returns the exit code: 0, or 1 when one of the processes ended by itself. Raises NotSo or
    Unusable, one line, when the folder is taken or something does not come up.
    """
    out = console or Console()
    places = DemoPlaces(home)
    if not places.are_built():
        with _interruptible():
            _build(home, days, broker_search, out)
    with only_one(places.lock, "demo"), _Stop() as stop:
        family = Family(places.logs)
        try:
            _start(places, family, every_seconds, broker_search, stop)
            if not stop.is_set():
                _tell(places, out)
            return _stay(family, stop, stay_seconds, out)
        except _Stopped:
            return 0
        finally:
            family.end()


class _Stopped(Exception):
    """Asked to end while things were still starting."""


class _Stop(threading.Event):
    """Set by SIGINT and SIGTERM while it is entered."""

    def __enter__(self) -> _Stop:
        self._before = {s: signal.signal(s, self._on) for s in (signal.SIGINT, signal.SIGTERM)}
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _on(self, _signal: int, _frame: FrameType | None) -> None:
        self.set()


@contextmanager
def _interruptible() -> Iterator[None]:
    """SIGINT and SIGTERM end a build: what it made is taken away.

    Both are set, for a shell starts what it puts in the background with SIGINT ignored.
    """

    def _interrupt(_signal: int, _frame: FrameType | None) -> NoReturn:
        raise KeyboardInterrupt

    before = {s: signal.signal(s, _interrupt) for s in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _build(home: Home, days: int, broker_search: str | None, out: Console) -> None:
    began = time.monotonic()
    out.print(f"Building {days} days of an invented collection in {home.folder}", soft_wrap=True)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
        console=out,
        transient=True,
        disable=not out.is_terminal,
    ) as progress:
        story = build_home(home, days=days, broker_search=broker_search, progress=progress)
    out.print(
        f"{len(story.offers)} offers of prey and their readings taken in "
        f"after {time.monotonic() - began:.0f} s",
        soft_wrap=True,
    )


def _start(
    places: DemoPlaces,
    family: Family,
    every_seconds: float,
    broker_search: str | None,
    stop: threading.Event,
) -> None:
    broker, port = _broker(places, broker_search)
    family.start("broker", broker.command)
    _wait(family, stop, lambda: not port_is_free(port), _READY_SECONDS, "the broker")
    began_ms = time.time_ns() // 1_000_000
    options = {
        "--layout": places.layout,
        "--serial": places.serial,
        "--mqtt": f"{HOST}:{port}",
        "--mqtt-protocol": broker.protocol,
        "--every": every_seconds,
        "--commands": places.commands,
    }
    words = [str(word) for pair in options.items() for word in pair]
    family.start("rack", module("hardware.rack", *words))
    _wait(family, stop, places.serial.is_symlink, _READY_SECONDS, "the rack's serial line")
    at_home = ("--home", str(places.home.folder.absolute()))
    for name in _MODULES:
        if _can_run(name):
            family.start(name.rpartition(".")[2], module(name, *at_home))
    _wait_for_readings(places, family, stop, began_ms)


def _can_run(name: str) -> bool:
    """True when the package is there and can be run as a process."""
    try:
        return importlib.util.find_spec(f"{name}.__main__") is not None
    except ModuleNotFoundError:
        return False


def _broker(places: DemoPlaces, search: str | None) -> tuple[Broker, int]:
    """The broker to start and its port: that of the settings, or another when it is taken."""
    settings = load_settings(places.home)
    port = settings.mqtt.port if port_is_free(settings.mqtt.port) else free_port()
    broker = prepare_broker(places.broker, port, search)
    if (port, broker.protocol) != (settings.mqtt.port, settings.mqtt.protocol):
        text = places.home.settings.read_text(encoding="utf-8")
        places.home.settings.write_text(with_broker(text, broker, port), encoding="utf-8")
    return broker, port


def live_series(places: DemoPlaces) -> set[SeriesKey]:
    """Every series that the live rack speaks of."""
    probes = load_layout(places.layout).probe
    damp = {SeriesKey(p.id, Quantity.HUMIDITY) for p in probes if p.sensor == "SHT4x"}
    return damp | {SeriesKey(p.id, Quantity.TEMPERATURE) for p in probes}


def _wait_for_readings(
    places: DemoPlaces, family: Family, stop: threading.Event, since_ms: int
) -> None:
    wanted = live_series(places)
    silent: set[str] = set()
    with Reader(places.home.journal, places.home.archive) as reader:

        def _all_speak() -> bool:
            latest = reader.latest()
            fresh = {key for key, reading in latest.items() if reading.at_ms >= since_ms}
            silent.clear()
            silent.update(key.probe for key in wanted - fresh)
            return not silent

        try:
            _wait(family, stop, _all_speak, _LIVE_SECONDS, "live readings of every probe")
        except NotSo as fault:
            raise NotSo(f"{fault} (silent: {', '.join(sorted(silent))})") from None


def _wait(
    family: Family,
    stop: threading.Event,
    holds: Callable[[], bool],
    seconds: float,
    what: str,
) -> None:
    """Wait until it holds. Raises NotSo when a process ends or time is up, _Stopped on stop."""
    until = time.monotonic() + seconds
    while not holds():
        if stop.wait(_POLL_SECONDS):
            raise _Stopped
        child = family.dead()
        if child is not None:
            raise NotSo(_obituary(child))
        if time.monotonic() > until:
            raise NotSo(f"waited {seconds:.0f} s in vain for {what}; see {family.logs}")


def _obituary(child: Child) -> str:
    return (
        f"{child.name} ended by itself (code {child.process.returncode}): {child.last_words()}; "
        f"see {child.log}"
    )


def _tell(places: DemoPlaces, out: Console) -> None:
    with (
        Book(places.home.book, read_only=True) as book,
        Reader(places.home.journal, places.home.archive) as reader,
    ):
        readings = sum(span.count for span in reader.series().values())
        show(out, places, sights(book, places.highlights), readings)


def _stay(family: Family, stop: threading.Event, seconds: float | None, out: Console) -> int:
    until = None if seconds is None else time.monotonic() + seconds
    while until is None or time.monotonic() < until:
        if stop.wait(_POLL_SECONDS):
            return 0
        child = family.dead()
        if child is not None:
            out.print(_obituary(child), soft_wrap=True, markup=False)
            return 1
    return 0
