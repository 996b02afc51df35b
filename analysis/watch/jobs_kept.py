"""What is kept of the jobs, in the table `job` of `alarms.db`: for which moment each was done.

A job's row and its messages are one transaction: however the process ends, a job that counts as
done has said what it had to say, and says it once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Self, cast

from analysis.watch.alarm_file import open_alarms, speaking_of, transaction
from analysis.watch.outbox import KEEP_MS, Hold, Message, Outbox, Urgency
from analysis.watch.states import AlarmKey, Kind


@dataclass(frozen=True, slots=True)
class Note:
    """What a job tells the keeper. The same `about` is the same message, however often told.

    Notes of one `topic` arrive in their order.
    """

    topic: str
    about: str
    title: str
    lines: tuple[str, ...]
    urgency: Urgency = Urgency.NOTE

    def message(self) -> Message:
        """As the outbox takes it. No alarm's: its kind is the topic, its place empty."""
        octets = "\0".join((self.topic, self.about)).encode()
        reference = hashlib.blake2b(octets, digest_size=5).hexdigest()
        body = "\n".join([*self.lines, f"Message {reference}"])
        return Message(
            reference, AlarmKey(cast("Kind", self.topic), ""), self.urgency, self.title, body
        )


@dataclass(frozen=True, slots=True)
class Kept:
    """A job's row: the moment it was last done for, when, and why it does not succeed now."""

    due_ms: int
    done_ms: int
    fault: str | None = None


class JobFile:
    """The jobs' side of the alarm file. Every method raises StoreFault on a failing disk."""

    def __init__(self, path: Path, addresses: Collection[str], hold: Hold | None = None) -> None:
        """`hold` says until when a message waits for the end of the quiet hours."""
        self._path = path
        self._addresses = addresses
        self._connection = open_alarms(path)
        self._outbox = Outbox(self._connection, hold=hold)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def kept(self) -> dict[str, Kept]:
        """All rows, by the job's name."""
        with speaking_of(self._path):
            rows = self._connection.execute("SELECT * FROM job").fetchall()
        return {row["job"]: Kept(row["due_ms"], row["done_ms"], row["fault"]) for row in rows}

    def done(self, jobs: Mapping[str, int], notes: Iterable[Note], now_ms: int) -> None:
        """These jobs are done for these moments, and this is to be told: all or none."""
        with speaking_of(self._path), transaction(self._connection):
            for job, due_ms in jobs.items():
                self._connection.execute(
                    "INSERT INTO job (job, due_ms, done_ms) VALUES (?, ?, ?) "
                    "ON CONFLICT (job) DO UPDATE SET due_ms = excluded.due_ms, "
                    "done_ms = excluded.done_ms, fault = NULL",
                    (job, due_ms, now_ms),
                )
            self._put(notes, now_ms)

    def failed(self, job: str, fault: str, notes: Iterable[Note], now_ms: int) -> None:
        """The job does not succeed; it stays due."""
        with speaking_of(self._path), transaction(self._connection):
            self._connection.execute("UPDATE job SET fault = ? WHERE job = ?", (fault, job))
            self._put(notes, now_ms)

    def tidy(self, prefixes: Collection[str], now_ms: int) -> None:
        """Forget the rows of single meals when their messages are forgotten too."""
        with speaking_of(self._path), transaction(self._connection):
            self._connection.executemany(
                "DELETE FROM job WHERE substr(job, 1, length(?1)) = ?1 AND done_ms < ?2",
                [(prefix, now_ms - KEEP_MS) for prefix in prefixes],
            )

    def _put(self, notes: Iterable[Note], now_ms: int) -> None:
        for note in notes:
            self._outbox.put(note.message(), self._addresses, now_ms)
