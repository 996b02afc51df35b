"""The page's process: where it listens, its arguments, its exit codes."""

from __future__ import annotations

import argparse
import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from types import FrameType

import uvicorn

from analysis.page.access.hosts import is_here
from analysis.page.access.passphrase import PassphraseFile
from analysis.page.app import create_app
from collector.service import SignsOfLife, log_to_stderr, only_one
from config.errors import Unusable, WarmcoilError
from config.home import Home
from config.settings import Settings, load_settings

log = logging.getLogger("page")

HERE = "127.0.0.1"
_MOST_AT_ONCE = 64
_GRACE_SECONDS = 3
_END_SECONDS = 3.7
"""Then it ends as it is: a request may wait for an InfluxDB that says nothing, and Python with it.
The unit allows 5 s."""


def serve(home: Home, port: int | None = None) -> int:
    """Serve the page of this home until asked to end; the exit code."""
    settings = load_settings(home)
    app = create_app(home, settings=settings)
    with only_one(home.folder / "page.lock", "page"):
        host = where_to_listen(home, settings)
        listener = _listener(host, settings.page.port if port is None else port)
        scheme = "https" if settings.page.tls_certificate is not None else "http"
        _end_quietly()
        server = _Server(_config(app, settings, scheme), SignsOfLife())
        server.says = f"listening on {address_of(listener, scheme)}"
        server.run(sockets=[listener])
    return 0


def _end_quietly() -> None:
    """To be asked to end is no fault, neither before the server takes its signals over, nor after:
    it ends in order, gives them back, and raises the one it got once more."""

    def end(_number: int, _frame: FrameType | None) -> None:
        raise SystemExit(0)

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)


def where_to_listen(home: Home, settings: Settings) -> str:
    """The address of the settings once there is a pass phrase; until then this machine alone."""
    host = settings.page.host
    if PassphraseFile(home.folder).is_set or host == "localhost" or is_here(host):
        return host
    log.warning(
        "no pass phrase is set: the page listens on %s only, not on %s; set one with: "
        "warmcoil passphrase, and start the page again", HERE, host,
    )  # fmt: skip
    return HERE


def address_of(listener: socket.socket, scheme: str = "http") -> str:
    """What to type into a browser."""
    host, port = listener.getsockname()[:2]
    shown = f"[{host}]" if ":" in host else host
    return f"{scheme}://{shown}:{port}"


def _listener(host: str, port: int) -> socket.socket:
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server((host, port), family=family, backlog=128)
    except OSError as fault:
        raise Unusable(
            f"the page cannot listen on {host}, port {port}: {fault.strerror}; another port: "
            "[page] port in warmcoil.toml"
        ) from fault


def _config(app: object, settings: Settings, scheme: str) -> uvicorn.Config:
    page = settings.page
    return uvicorn.Config(
        app,  # type: ignore[arg-type]  # any ASGI application
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="on",
        ws="none",
        http="h11",
        limit_concurrency=_MOST_AT_ONCE,
        timeout_graceful_shutdown=_GRACE_SECONDS,
        # Who else than a proxy of the settings says so is not believed.
        proxy_headers=bool(page.trusted_proxies),
        forwarded_allow_ips=list(page.trusted_proxies),
        ssl_certfile=page.tls_certificate if scheme == "https" else None,
        ssl_keyfile=page.tls_key if scheme == "https" else None,
    )


class _Server(uvicorn.Server):
    """Gives systemd its signs of life from the loop that does the work, and says where it listens
    once it takes signals."""

    says = ""

    def __init__(self, config: uvicorn.Config, life: SignsOfLife) -> None:
        super().__init__(config)
        self._life = life

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        log.info("%s", self.says)
        self._life.ready()

    async def on_tick(self, counter: int) -> bool:
        self._life.alive()
        return await super().on_tick(counter)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._life.stopping()
        last = threading.Timer(_END_SECONDS, _end_as_it_is)
        last.daemon = True
        last.start()
        await super().shutdown(sockets)


def _end_as_it_is() -> None:
    """What a request would still have written is a transaction that is not done."""
    log.warning("ended while a request was being answered")
    os._exit(0)


def main(arguments: Sequence[str] | None = None) -> int:
    """The process."""
    parser = argparse.ArgumentParser(prog="python -m analysis.page")
    parser.add_argument("--home", type=Path, metavar="DIR", default=os.environ.get("WARMCOIL_HOME"))
    parser.add_argument("--port", type=int, help="instead of the settings' port; 0: any")
    given = parser.parse_args(arguments)
    log_to_stderr("page")
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    try:
        if given.home is None:
            raise Unusable("which home? give --home DIR, or set WARMCOIL_HOME")
        return serve(Home(Path(given.home).expanduser().absolute()), given.port)
    except WarmcoilError as fault:
        print(fault, file=sys.stderr)  # noqa: T201  # one line for the keeper
        return fault.exit_code
