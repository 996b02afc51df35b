"""A program in a terminal of its own, a real pty, and who sits there and answers."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import signal
import time
from collections.abc import Mapping, Sequence

PATIENCE_S = 60.0
CTRL_C = b"\x03"


class Talk:
    """`words` running in a terminal. `said` is what it has said since the last question."""

    def __init__(self, words: Sequence[str], environment: Mapping[str, str]) -> None:
        self._pid, self._end = pty.fork()
        if self._pid == 0:  # the program; the terminal is its controlling one, so Ctrl-C reaches it
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell's background job ignores it
            os.execvpe(words[0], list(words), dict(environment))  # noqa: S606
        self.said = ""

    def until(self, text: str) -> str:
        """Wait until it says `text`; what it said before that."""
        until_s = time.monotonic() + PATIENCE_S
        while text not in self.said:
            assert self._hear(until_s), f"it ended without {text!r}: {self.said}"
        before, _, self.said = self.said.partition(text)
        return before

    def answer(self, asked: str, text: str) -> str:
        """Wait for a question, and type an answer; what it said before the question."""
        before = self.until(asked)
        self.types(text.encode() + b"\n")
        return before

    def types(self, keys: bytes) -> None:
        """Keys, as they are."""
        os.write(self._end, keys)

    def ended(self) -> tuple[int, str]:
        """Its exit code, and what it said since the last question, once it has ended."""
        until_s = time.monotonic() + PATIENCE_S
        while self._hear(until_s):
            pass
        os.close(self._end)
        return os.waitstatus_to_exitcode(os.waitpid(self._pid, 0)[1]), self.said

    def _hear(self, until_s: float) -> bool:
        """Take what it says; False when it has hung up."""
        ready, _, _ = select.select([self._end], [], [], max(0.0, until_s - time.monotonic()))
        assert ready, f"nothing more was said: {self.said}"
        data = b""
        with contextlib.suppress(OSError):  # the terminal's end
            data = os.read(self._end, 4096)
        self.said += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)
