"""The book's tables, as the steps that made them. A step that has been released never changes."""

from __future__ import annotations

from typing import Final

from collector.store import content_sums

APPLICATION_ID: Final = 0x57436F69
"""Marks the SQLite file as a record book of ours ("WCoi")."""

_FIRST: Final = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    "CREATE TABLE enclosure (enclosure TEXT PRIMARY KEY NOT NULL, room TEXT, notes TEXT) STRICT",
    """CREATE TABLE animal (
        animal TEXT PRIMARY KEY NOT NULL, species TEXT, sex TEXT, born TEXT
    ) STRICT""",
    """CREATE TABLE stay (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        enclosure TEXT NOT NULL REFERENCES enclosure ON UPDATE CASCADE,
        since_ms INTEGER NOT NULL,
        PRIMARY KEY (animal, since_ms)
    ) STRICT""",
    "CREATE INDEX stay_enclosure ON stay (enclosure)",
    """CREATE TABLE placement (
        probe TEXT NOT NULL,
        enclosure TEXT NOT NULL REFERENCES enclosure ON UPDATE CASCADE,
        zone TEXT NOT NULL,
        since_ms INTEGER NOT NULL,
        until_ms INTEGER,
        PRIMARY KEY (probe, since_ms),
        CHECK (until_ms > since_ms)
    ) STRICT""",
    "CREATE INDEX placement_enclosure ON placement (enclosure)",
    """CREATE TABLE meal (
        meal INTEGER PRIMARY KEY AUTOINCREMENT,
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        offered_at_ms INTEGER, taken_at_ms INTEGER, removed_at_ms INTEGER,
        prey TEXT, prey_count INTEGER, prey_mass_g REAL, prey_width_mm REAL, prey_surface_c REAL,
        prey_state TEXT, fed_in TEXT,
        outcome TEXT, outcome_at_ms INTEGER,
        notes TEXT,
        CHECK (offered_at_ms IS NOT NULL OR taken_at_ms IS NOT NULL)
    ) STRICT""",
    "CREATE UNIQUE INDEX meal_once ON meal (animal, coalesce(offered_at_ms, taken_at_ms))",
    "CREATE UNIQUE INDEX meal_taken_once ON meal (animal, taken_at_ms)",
    """CREATE TABLE weighing (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        at_ms INTEGER NOT NULL,
        mass_g REAL, length_cm REAL, midbody_mm REAL,
        PRIMARY KEY (animal, at_ms)
    ) STRICT""",
    """CREATE TABLE handling (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        at_ms INTEGER NOT NULL,
        minutes REAL, reason TEXT,
        PRIMARY KEY (animal, at_ms)
    ) STRICT""",
    """CREATE TABLE history (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        action TEXT NOT NULL CHECK (action IN ('changed', 'removed')),
        kind TEXT NOT NULL,
        key TEXT NOT NULL,
        before TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX history_of ON history (kind, key)",
)

_SHEDS: Final = (
    """CREATE TABLE shed (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        at_ms INTEGER NOT NULL,
        notes TEXT,
        PRIMARY KEY (animal, at_ms)
    ) STRICT""",
)

_LOOKS: Final = (
    "ALTER TABLE meal ADD COLUMN signs TEXT",
    "ALTER TABLE shed ADD COLUMN stage TEXT NOT NULL DEFAULT 'shed'",
    """CREATE TABLE look (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        at_ms INTEGER NOT NULL,
        spine TEXT, ribs TEXT, skin TEXT, tail TEXT, vent TEXT, neck TEXT,
        notes TEXT,
        PRIMARY KEY (animal, at_ms)
    ) STRICT""",
    """CREATE TABLE dropping (
        animal TEXT NOT NULL REFERENCES animal ON UPDATE CASCADE,
        at_ms INTEGER NOT NULL,
        urate TEXT, signs TEXT,
        notes TEXT,
        PRIMARY KEY (animal, at_ms)
    ) STRICT""",
)

_WHOLE_HISTORY: Final = (
    """CREATE TABLE whole_history (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        action TEXT NOT NULL CHECK (action IN ('added', 'changed', 'removed')),
        kind TEXT NOT NULL,
        key TEXT NOT NULL,
        before TEXT,
        entry INTEGER,
        undoes INTEGER,
        CHECK ((before IS NULL) = (action = 'added'))
    ) STRICT""",
    """INSERT INTO whole_history (number, at_ms, who, action, kind, key, before)
        SELECT number, at_ms, who, action, kind, key, before FROM history""",
    "DROP TABLE history",
    "ALTER TABLE whole_history RENAME TO history",
    "CREATE INDEX history_of ON history (kind, key)",
)
# `entry` is the number of the first change made together with this one; NULL: it is the first.

_SENT_ONCE: Final = (
    """CREATE TABLE sent (
        key TEXT PRIMARY KEY NOT NULL,
        at_ms INTEGER NOT NULL,
        digest TEXT NOT NULL,
        entry INTEGER
    ) STRICT""",
)
# `entry` is the number of the entry that the form became; NULL: it changed nothing.

_CALIBRATIONS: Final = (
    """CREATE TABLE calibration (
        probe TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        read_c REAL NOT NULL, true_c REAL NOT NULL, uncertainty_c REAL NOT NULL,
        second_read_c REAL, second_true_c REAL, second_uncertainty_c REAL,
        notes TEXT,
        PRIMARY KEY (probe, at_ms)
    ) STRICT""",
)

STEPS: Final[tuple[tuple[str, ...], ...]] = (
    _FIRST,
    _SHEDS,
    _LOOKS,
    _WHOLE_HISTORY,
    _SENT_ONCE,
    _CALIBRATIONS,
    content_sums.STEP,
)
"""Step n (counted from 1) brings a book from version n - 1 to version n."""
