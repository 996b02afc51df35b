"""The alarm file: what is kept, all or none, and which files are refused."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from analysis.watch import alarm_file
from analysis.watch.alarm_file import open_alarms, speaking_of
from analysis.watch.alarm_store import AlarmStore, Watching
from analysis.watch.outbox import Message, Urgency
from analysis.watch.schema import STEPS
from analysis.watch.states import Alarm, AlarmKey, Cause, Kind, Priority, State, Trail, Transition
from config.errors import StoreFault

SILENT = AlarmKey(Kind.NO_READINGS, "Larch", "urn:dev:ow:28ff641f43b2c1d0")


def raised(key: AlarmKey = SILENT, at_ms: int = 1_000) -> Transition:
    alarm = Alarm(
        key=key,
        state=State.UNACKNOWLEDGED,
        priority=Priority.HIGH,
        since_ms=400,
        since_open=True,
        raised_ms=at_ms,
        changed_ms=at_ms,
        setpoint=28.0,
        deadband=0.5,
        value=27.25,
        lowest=26.5,
    )
    return Transition(Cause.RAISED, at_ms, State.NORMAL, alarm, 27.25)


def note(reference: str = "ref") -> Message:
    return Message(reference, SILENT, Urgency.HIGH, "title", "body")


def test_everything_comes_back(tmp_path: Path) -> None:
    transition = raised()
    with AlarmStore(tmp_path / "alarms.db") as store:
        store.record([transition], [note()], ["a"], 1_500)
        store.checkpoint(Watching(100, 1_500), [])
    with AlarmStore(tmp_path / "alarms.db") as store:
        assert store.alarms() == {SILENT: transition.alarm}
        assert store.alarms()[SILENT].trail == Trail(from_ms=0, settled_ms=1_000)
        (past,) = store.transitions()
        assert (past.key, past.cause, past.before, past.after) == (
            SILENT, Cause.RAISED, State.NORMAL, State.UNACKNOWLEDGED,
        )  # fmt: skip
        assert (past.at_ms, past.recorded_ms, past.value, past.lowest) == (
            1_000,
            1_500,
            27.25,
            26.5,
        )
        assert store.transitions(since_ms=1_001) == []
        assert store.watching() == Watching(100, 1_500)
        assert store.something_due(["a"], 1_500)


def test_a_change_and_its_message_are_kept_together_or_not_at_all(tmp_path: Path) -> None:
    with AlarmStore(tmp_path / "alarms.db") as store:
        # An outbox that cannot take the message: the change of state must go with it.
        with closing(sqlite3.connect(tmp_path / "alarms.db")) as other:
            other.execute("ALTER TABLE outbox RENAME TO outbox_away")
        with pytest.raises(StoreFault):
            store.record([raised()], [note()], ["a"], 1_500)
        assert store.alarms() == {}
        assert store.transitions() == []


def test_the_checkpoint_keeps_the_lowest_of_a_standing_alarm(tmp_path: Path) -> None:
    with AlarmStore(tmp_path / "alarms.db") as store:
        store.record([raised()], [], [], 0)
        alarm = store.alarms()[SILENT]
        lower = Alarm(**{f: getattr(alarm, f) for f in alarm.__slots__} | {"lowest": 20.0})
        store.checkpoint(Watching(0, 9), [lower])
        assert store.alarms()[SILENT].lowest == 20.0


def test_synced_at_every_commit(tmp_path: Path) -> None:
    with closing(open_alarms(tmp_path / "alarms.db")) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL


def test_a_newer_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    open_alarms(path).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    before = path.read_bytes()
    with pytest.raises(StoreFault, match="newer Warmcoil"):
        AlarmStore(path)
    assert path.read_bytes() == before


def test_a_strangers_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = path.read_bytes()
    with pytest.raises(StoreFault, match="not an alarm file"):
        AlarmStore(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("rubbish", [b"no SQLite file at all" * 100, bytes(range(256)) * 16])
def test_a_damaged_file_is_one_clear_line(tmp_path: Path, rubbish: bytes) -> None:
    path = tmp_path / "alarms.db"
    path.write_bytes(rubbish)
    with pytest.raises(StoreFault, match=r"alarms\.db: .*move it away") as caught:
        AlarmStore(path)
    assert "\n" not in str(caught.value)


def test_a_full_disk_is_one_clear_line(tmp_path: Path) -> None:
    path = tmp_path / "alarms.db"
    with closing(open_alarms(path)) as connection:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StoreFault, match="make room on the disk"), speaking_of(path):
            connection.execute(
                "INSERT INTO outbox (reference, kind, enclosure, probe, urgency, title, body, "
                "created_ms) VALUES ('r', '', '', '', '', '', ?, 0)",
                ("x" * 1_000_000,),
            )


def test_an_earlier_file_is_copied_and_brought_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "alarms.db"
    with AlarmStore(path) as store:
        store.record([raised()], [note()], ["a"], 0)
    further = (*STEPS, ("ALTER TABLE alarm ADD COLUMN further INTEGER",))
    monkeypatch.setattr(alarm_file, "STEPS", further)
    with closing(open_alarms(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == len(further)
        row = connection.execute("SELECT * FROM alarm").fetchone()
        assert (row["enclosure"], row["shelved_until_ms"]) == ("Larch", None)
    with closing(sqlite3.connect(tmp_path / f"alarms.db.version-{len(STEPS)}")) as copy:
        assert copy.execute("SELECT enclosure FROM alarm").fetchall() == [("Larch",)]
        assert copy.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)


def test_requests_from_before_they_were_marked_still_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "alarms.db"
    monkeypatch.setattr(alarm_file, "STEPS", STEPS[:4])
    with closing(open_alarms(path)) as connection:
        connection.execute(
            "INSERT INTO request (at_ms, who, action, kind, enclosure, probe) "
            "VALUES (5, 'Ana', 'acknowledge', 'too hot', 'Larch', '')"
        )
    monkeypatch.undo()
    with AlarmStore(path) as store:
        (one,) = store.requests()
    assert (one.who, one.key) == ("Ana", AlarmKey(Kind.TOO_HOT, "Larch"))


def test_a_step_that_fails_leaves_the_file_at_its_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "alarms.db"
    open_alarms(path).close()
    broken = (*STEPS, ("CREATE TABLE extra (x)", "CREATE TABLE extra (x)"))
    monkeypatch.setattr(alarm_file, "STEPS", broken)
    with pytest.raises(StoreFault):
        open_alarms(path)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)
        tables = {r[0] for r in connection.execute("SELECT name FROM sqlite_schema")}
        assert "extra" not in tables
