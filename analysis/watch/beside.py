"""What goes beside a message's words: links to answer it, and a picture of the last hours.

Made when it is sent. Neither holds up the words: a picture that fails or takes too long is left
out, and so are links that cannot be made.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import Self

from analysis.watch.links import WORDS, links_for, trial_link
from analysis.watch.outbox import Delivery, Urgency
from analysis.watch.states import HOUR_MS
from config.errors import WarmcoilError
from config.home import Home
from config.settings import Settings

PICTURE_SECONDS = 10.0
_NEWS_MS = 2 * HOUR_MS
_LOG = logging.getLogger(__name__)


class Beside:
    """What goes beside the messages of one run. The same picture serves all addresses."""

    def __init__(self, home: Home, settings: Settings, limit_seconds: float | None = None):
        self._home = home
        self._settings = settings
        self._limit_s = PICTURE_SECONDS if limit_seconds is None else limit_seconds
        self._folder = tempfile.TemporaryDirectory(prefix="warmcoil-")
        self._pictures: dict[int, Path | None] = {}
        self._none_to_be_had = False
        self._drawing = threading.Lock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._folder.cleanup()

    def body(self, delivery: Delivery, now_ms: int) -> str:
        """Its words, and beneath them how to answer."""
        page = self._settings.page.address
        if page is None:
            return delivery.body
        try:
            answers = self._answers(delivery, page, now_ms)
        except WarmcoilError as fault:
            _LOG.warning("%s", fault)
            return delivery.body
        *words, reference = delivery.body.split("\n")
        return "\n".join([*words, *answers, reference])

    def _answers(self, delivery: Delivery, page: str, now_ms: int) -> list[str]:
        if delivery.trial:
            link = trial_link(delivery.reference, self._home, page, now_ms)
            return [f"Try the link: {link}"]
        if delivery.key is None or delivery.urgency in (Urgency.ALL_CLEAR, Urgency.NOTE):
            return []
        links = links_for(delivery.key, self._home, page, now_ms, delivery.created_ms)
        return [f"{WORDS[action]}: {url}" for action, url in links]

    def picture(self, delivery: Delivery, now_ms: int) -> Path | None:
        """The last hours of its enclosure as a file; None where there is none to be had.

        Where one failed, none is tried for the messages behind it. A message that was held up for
        hours goes without: the picture would show another time than its words.
        """
        if not delivery.enclosure:
            return None
        if now_ms - delivery.created_ms > _NEWS_MS:
            return None
        with self._drawing:
            if delivery.number not in self._pictures and not self._none_to_be_had:
                drawn = self._drawn(delivery, delivery.enclosure)
                self._pictures[delivery.number] = drawn
                self._none_to_be_had = drawn is None
            return self._pictures.get(delivery.number)

    def _drawn(self, delivery: Delivery, enclosure: str) -> Path | None:
        out = Path(self._folder.name) / f"{delivery.reference}.png"
        try:
            subprocess.run(  # noqa: S603  # our own module, by name
                [
                    sys.executable, "-m", "analysis.recent_picture",
                    "--home", str(self._home.folder),
                    f"--enclosure={enclosure}",
                    f"--title={delivery.title}",
                    "--out", str(out),
                ],
                # The list of fonts, which it would otherwise keep in the keeper's own folder.
                env={**os.environ, "MPLCONFIGDIR": str(self._home.folder / "cache")},
                check=True, stdin=subprocess.DEVNULL, capture_output=True, timeout=self._limit_s,
            )  # fmt: skip
        except subprocess.CalledProcessError as fault:
            said = fault.stderr.decode(errors="replace").strip().splitlines()
            why = said[-1] if said else f"code {fault.returncode}"
            _LOG.warning("message %s goes without a picture: %s", delivery.reference, why)
            return None
        except (subprocess.TimeoutExpired, OSError):
            _LOG.warning("message %s goes without a picture: it took too long", delivery.reference)
            return None
        return out
