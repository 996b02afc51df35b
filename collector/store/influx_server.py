"""An InfluxDB: one write call, one query call, and every fault of it as one line.

Only what 1.8 and 2.x have in common behind influxdb-client is used: synchronous writes, Flux, no
call for buckets, none that deletes. The client's batching mode is not used: it loses batches
without an exception. Nothing is tried again here: what is not taken waits in the journal.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from collector.store.archive import ArchiveDown
from config.errors import BadSettings

if TYPE_CHECKING:
    from config.settings import Archive as ArchiveSettings

TOKEN_VARIABLE = "WARMCOIL_INFLUXDB_TOKEN"  # noqa: S105  the name of it
_LONGEST_ANSWER = 256 << 20
_PATIENT_TIMES = 6
"""An answer that begins in time may take so many times as long to come in."""
_PIECE = 1 << 16


class InfluxServer:
    """The server that the settings name; connected when it is first asked something.

    The token is read anew for each new connection. May be used from several threads.
    """

    def __init__(self, settings: ArchiveSettings) -> None:
        """Raises BadSettings when the settings name no server."""
        if settings.url is None or settings.bucket is None:
            raise BadSettings("archive: say where the InfluxDB is; give url and bucket")
        self._settings = settings
        self._url = settings.url.rstrip("/")
        self.bucket = settings.bucket
        self.name = f"InfluxDB at {self._url}"
        self._client: Any = None
        self._token: str | None = None

    def write(self, lines: str) -> str | None:
        """Keep lines of line protocol, times in ms.

        Returns None when the server took them, else its words when it took only a part. Raises
        ArchiveDown.
        """
        with self._speaking():
            from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415
            from influxdb_client.rest import ApiException  # noqa: PLC0415

            api = self._connected().write_api(write_options=SYNCHRONOUS)
            try:
                api.write(self.bucket, self._settings.org, lines, write_precision="ms")
            except ApiException as fault:
                words = _words_of(fault)
                # 1.8 answers 400, 2.x 422: the rest of the lines is kept.
                if fault.status in (400, 422) and "partial write" in words:
                    return words
                raise
        return None

    def query(self, flux: str) -> str:
        """The answer to a Flux script as annotated CSV. Raises ArchiveDown."""
        with self._speaking():
            answer = self._connected().query_api().query_raw(flux, self._settings.org)
            try:
                whole = b"".join(self._pieces(answer))
            except BaseException:
                answer.close()
                raise
            answer.release_conn()
            return whole.decode("utf-8")

    def close(self) -> None:
        """Let go of the connections. Closing again does nothing."""
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def _pieces(self, answer: Any) -> Iterator[bytes]:
        """What comes in, as it comes, up to a size and a time."""
        until_s = time.monotonic() + _PATIENT_TIMES * self._settings.timeout_seconds
        size = 0
        while piece := answer.read1(_PIECE):
            yield piece
            size += len(piece)
            if size > _LONGEST_ANSWER or time.monotonic() > until_s:
                raise ArchiveDown(f"{self.name}: its answer does not end")

    def _connected(self) -> Any:
        token = read_token(self._settings)
        if token != self._token:
            self.close()
        if self._client is None:
            with without_numpy():
                from influxdb_client.client.influxdb_client import (  # noqa: PLC0415
                    InfluxDBClient,
                )
            ca_file = self._settings.ca_file
            self._client = InfluxDBClient(
                self._url,
                token,
                org=self._settings.org,
                timeout=round(self._settings.timeout_seconds * 1000),
                ssl_ca_cert=str(ca_file) if ca_file else None,
                retries=False,
            )
            self._token = token
        return self._client

    @contextmanager
    def _speaking(self) -> Iterator[None]:
        """Every fault of server, network and client as an ArchiveDown of one line."""
        with without_numpy():
            from influxdb_client.rest import ApiException  # noqa: PLC0415
            from urllib3.exceptions import HTTPError  # noqa: PLC0415
        try:
            yield
        except ApiException as fault:
            raise ArchiveDown(f"{self.name}: {self._told(fault)}") from fault
        except (HTTPError, OSError, UnicodeDecodeError, ValueError) as fault:
            # The text of some of them quotes the whole request.
            raise ArchiveDown(f"{self.name} cannot be reached: {_short(fault)}") from fault

    def _told(self, fault: Any) -> str:
        words, status = _words_of(fault), fault.status
        if status in (401, 403):
            where = self._settings.token_file or TOKEN_VARIABLE
            return f"refuses the token ({status}); check what archive.token_file names: {where}"
        # 1.8 answers a query for a database that is gone with 500.
        if status == 404 or "no database" in words or "database not found" in words:
            return f"has no bucket {self.bucket} ({status}); make it there, or check archive.bucket"
        if not status:
            return f"cannot be reached: {' '.join(str(fault.reason).split())[:200]}"
        ill = "is ill" if status >= 500 or status == 429 else "refuses"
        return f"{ill} ({status}: {words or fault.reason})"


def read_token(settings: ArchiveSettings) -> str:
    """The token: the first line of the file, or the variable. Raises BadSettings."""
    file = settings.token_file
    if file is None:
        return os.environ.get(TOKEN_VARIABLE, "").strip()
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        why = getattr(fault, "strerror", None) or "not UTF-8 text"
        raise BadSettings(f"archive.token_file: {file} cannot be read: {why}") from fault
    return lines[0].strip() if lines else ""


@contextmanager
def without_numpy() -> Iterator[None]:
    """influxdb-client loads numpy where it finds it, for what is not used here: 13 MB for years."""
    if "numpy" in sys.modules:
        yield
        return
    sys.modules["numpy"] = None  # type: ignore[assignment]  # importlib's own word for "is not there"
    try:
        yield
    finally:
        del sys.modules["numpy"]


def _words_of(fault: Any) -> str:
    body = fault.body or b""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body)
    return " ".join(text.split())[:200]


def _short(fault: Exception) -> str:
    cause = getattr(fault, "reason", None) or fault
    name = type(cause).__name__
    known = {
        "NewConnectionError": "nobody listens there; is it running?",
        "NameResolutionError": "nobody knows its name; check archive.url",
        "ConnectTimeoutError": "it does not answer in time",
        "ReadTimeoutError": "it does not answer in time",
        "ProtocolError": "the connection broke",
    }
    return known.get(name, name)
