"""A real HTTP endpoint on the loopback: it keeps what it is sent, and fails when told to."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self


@dataclass(frozen=True)
class Arrival:
    """One message as it arrived."""

    path: str
    title: str
    body: str
    kind: str
    at_s: float
    pictures: int = 0
    repeat_key: str | None = None

    @property
    def reference(self) -> str:
        return self.body.rsplit("Message ", 1)[1].strip()


class Endpoint:
    """Listens from `start` on. `answer` decides each request's status; `hold_s` delays it."""

    def __init__(self, port: int = 0) -> None:
        self.arrivals: list[Arrival] = []
        self.requests = 0
        self.answer: Callable[[Arrival], int] = lambda _: 200
        self.hold_s = 0.0
        self._changed = threading.Condition()
        endpoint = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:  # the name http.server asks for
                endpoint._take(self)

            def log_message(self, *_: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,))
        self._thread.start()

    @property
    def port(self) -> int:
        return int(self._server.server_address[1])

    @property
    def url(self) -> str:
        """The apprise address."""
        return f"json://127.0.0.1:{self.port}/"

    def _take(self, request: BaseHTTPRequestHandler) -> None:
        length = int(request.headers["Content-Length"])
        said = json.loads(request.rfile.read(length))
        arrival = Arrival(
            request.path,
            said["title"],
            said["message"],
            said["type"],
            time.monotonic(),
            len(said.get("attachments") or ()),
            request.headers["Idempotency-Key"],
        )
        status = self.answer(arrival)
        with self._changed:
            self.requests += 1
            if status == 200:
                self.arrivals.append(arrival)
            self._changed.notify_all()
        time.sleep(self.hold_s)
        try:
            request.send_response(status)
            request.send_header("Content-Length", "0")
            request.end_headers()
        except OSError:
            pass  # the sender was killed while we held the answer

    def wait_for(self, count: int, timeout_s: float = 30.0) -> list[Arrival]:
        """What has arrived, once it is `count` messages. Fails after `timeout_s`."""
        with self._changed:
            done = self._changed.wait_for(lambda: len(self.arrivals) >= count, timeout_s)
        assert done, f"{len(self.arrivals)} of {count} messages: {[a.title for a in self.arrivals]}"
        return list(self.arrivals)

    def wait_for_requests(self, count: int, timeout_s: float = 30.0) -> None:
        """Returns once `count` requests were made, whatever the answer. Fails after `timeout_s`."""
        with self._changed:
            assert self._changed.wait_for(lambda: self.requests >= count, timeout_s), self.requests

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
