"""The tables of `alarms.db`, as the steps that made them. A released step never changes."""

from __future__ import annotations

from typing import Final

from collector.store import content_sums

APPLICATION_ID: Final = 0x5743616C
"""Marks the SQLite file as an alarm file of ours ("WCal")."""

_FIRST: Final = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    # probe is '' for an alarm of a whole enclosure.
    """CREATE TABLE alarm (
        kind TEXT NOT NULL, enclosure TEXT NOT NULL, probe TEXT NOT NULL,
        state TEXT NOT NULL, priority INTEGER NOT NULL,
        since_ms INTEGER, since_open INTEGER NOT NULL, raised_ms INTEGER, changed_ms INTEGER,
        setpoint REAL, deadband REAL, value REAL, lowest REAL,
        PRIMARY KEY (kind, enclosure, probe)
    ) STRICT, WITHOUT ROWID""",
    # at_ms is when it came about, recorded_ms when the watch saw it.
    """CREATE TABLE transition (
        transition INTEGER PRIMARY KEY,
        kind TEXT NOT NULL, enclosure TEXT NOT NULL, probe TEXT NOT NULL,
        cause TEXT NOT NULL, before TEXT NOT NULL, after TEXT NOT NULL,
        priority INTEGER NOT NULL,
        at_ms INTEGER NOT NULL, recorded_ms INTEGER NOT NULL,
        value REAL, lowest REAL
    ) STRICT""",
    "CREATE INDEX transition_at ON transition (at_ms)",
    # The same message has the same reference, however often it is made.
    """CREATE TABLE outbox (
        message INTEGER PRIMARY KEY,
        reference TEXT NOT NULL UNIQUE,
        kind TEXT NOT NULL, enclosure TEXT NOT NULL, probe TEXT NOT NULL,
        urgency TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
        created_ms INTEGER NOT NULL
    ) STRICT""",
    "CREATE INDEX outbox_alarm ON outbox (kind, enclosure, probe)",
    # One row per message and address. `address` is a digest: the address itself is a secret.
    """CREATE TABLE delivery (
        message INTEGER NOT NULL REFERENCES outbox ON DELETE CASCADE,
        address TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'given up')),
        attempts INTEGER NOT NULL DEFAULT 0,
        next_ms INTEGER NOT NULL,
        settled_ms INTEGER,
        fault TEXT,
        PRIMARY KEY (message, address)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX delivery_waiting ON delivery (address, message) WHERE state = 'waiting'",
    # One row: since when there has been a watch, and when it was last known to run.
    """CREATE TABLE watching (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        since_ms INTEGER NOT NULL,
        seen_ms INTEGER NOT NULL
    ) STRICT""",
)

_ANSWERED: Final = (
    "ALTER TABLE alarm ADD COLUMN shelved_until_ms INTEGER",
    "ALTER TABLE alarm ADD COLUMN out_of_service INTEGER NOT NULL DEFAULT 0",
    # The alarm that this one follows from, and under which it is shown.
    "ALTER TABLE alarm ADD COLUMN under_kind TEXT",
    "ALTER TABLE alarm ADD COLUMN under_enclosure TEXT",
    "ALTER TABLE alarm ADD COLUMN under_probe TEXT",
    "ALTER TABLE transition ADD COLUMN who TEXT",
    "ALTER TABLE transition ADD COLUMN until_ms INTEGER",
    # What a keeper asks of an alarm, from wherever; the watch alone carries it out.
    """CREATE TABLE request (
        request INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        action TEXT NOT NULL,
        kind TEXT NOT NULL, enclosure TEXT NOT NULL, probe TEXT NOT NULL,
        until_ms INTEGER,
        settled_ms INTEGER
    ) STRICT""",
    "CREATE INDEX request_waiting ON request (request) WHERE settled_ms IS NULL",
    # One row a job: for which of its moments it was done last.
    """CREATE TABLE job (
        job TEXT PRIMARY KEY NOT NULL,
        due_ms INTEGER NOT NULL,
        done_ms INTEGER NOT NULL,
        fault TEXT
    ) STRICT, WITHOUT ROWID""",
)

_FORETOLD: Final = (
    # When a warm side that falls would pass the floor, while it has not.
    "ALTER TABLE alarm ADD COLUMN foretold_ms INTEGER",
    # Held for chattering.
    "ALTER TABLE alarm ADD COLUMN latched INTEGER NOT NULL DEFAULT 0",
    # 1: with a message; 0: without; 2: the summary of a flood stands for it.
    "ALTER TABLE transition ADD COLUMN told INTEGER NOT NULL DEFAULT 1",
)

# A message that waits for the end of the quiet hours.
_QUIET: Final = ("ALTER TABLE delivery ADD COLUMN held_until_ms INTEGER",)

# What is sent twice, by a page or by a link, is one request: the same mark is never taken twice.
_MARKED: Final = (
    "ALTER TABLE request ADD COLUMN mark TEXT",
    "CREATE UNIQUE INDEX request_mark ON request (mark)",
)

STEPS: Final = (_FIRST, _ANSWERED, _FORETOLD, _QUIET, _MARKED, content_sums.STEP)
