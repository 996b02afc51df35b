"""Readings carried from the file to a real InfluxDB and back, killed on the way."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from analysis.checking import check_home
from collector.readings import AS_READ, Correction, Quantity, SeriesKey
from collector.store.archive import Archive
from collector.store.columns import DAY_MS, Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.moving import fingerprint, move
from collector.store.opening import open_archive, open_old_archive
from collector.store.sqlite_archive import SqliteArchive
from config.errors import NotSo
from config.home import Home
from config.settings import Archive as ArchiveSettings
from config.settings import load_settings
from tests.collector.store.series import DAMP, DAY_0_MS, KEYS, WARM, believable
from tests.collector_process import make_home
from tests.faults.record import Promise, told
from tests.influx import database, the_server

EVER = (-(2**62), 2**62)
COMMAND = "import sys; from analysis.cli import main; sys.exit(main())"
MOVE = ("archive", "move")
MANY = [SeriesKey(f"probe {number}", Quantity.TEMPERATURE) for number in range(3)]


def history() -> dict[SeriesKey, Columns]:
    """Some days; calibrated and doubted in places, one day empty."""
    made = {key: believable(400, every_ms=600_000, jitter_ms=90, seed=1) for key in MANY}
    for columns in made.values():
        columns.flags[7] = columns.flags[350] = 8
        columns.corrections = [(0, AS_READ), (100, Correction(1.01, -0.3)), (300, AS_READ)]
    made[DAMP] = Columns.ordered([-5, DAY_0_MS, DAY_0_MS + 2 * DAY_MS], [-0.0, 1 / 3, 5e-324])
    return made


def prints(archive: Archive) -> dict[SeriesKey, tuple[int, str]]:
    return {key: fingerprint(archive.columns(key, *EVER)) for key in archive.series()}


def toml(kind: str, settings: ArchiveSettings) -> str:
    return f'[archive]\nkind = "{kind}"\nurl = "{settings.url}"\nbucket = "{settings.bucket}"\n'


def command(home: Home, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, *(words or MOVE), "--home", str(home.folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run(home: Home, *words: str) -> tuple[int, str, str]:
    with command(home, *words) as process:
        out, err = process.communicate(timeout=100)
        return process.returncode, out, err


def test_there_and_back_with_a_kill_on_the_way(tmp_path: Path) -> None:
    written = history()
    total = sum(map(len, written.values()))
    with database(the_server()) as settings:
        home = make_home(tmp_path / "home", toml("influxdb", settings))
        home.readings.mkdir()
        with closing(SqliteArchive(home.archive)) as file:
            file.write(written)
            before = prints(file)
        with command(home) as process:
            assert process.stdout is not None
            assert "are in both" in process.stdout.readline()
            process.kill()
        with closing(InfluxArchive(settings)) as server:
            assert 0 < sum(span.count for span in server.series().values()) < total
            settled = load_settings(home)
            with closing(open_old_archive(home, settled)) as old:
                again = list(move(old, server))
            assert sum(one.count for one in again) == total
            assert sum(one.written for one in again) < total  # it went on where it was
            assert prints(server) == before
        found = check_home(home, settled)
        assert found.faults == []
        assert found.notes[0].startswith("probe 0 temperature: 400 readings; in its last 3 days")
        home.archive.rename(tmp_path / "old.db")
        home.settings.write_text(toml("sqlite", settings))
        settled = load_settings(home)
        with (
            closing(open_old_archive(home, settled)) as old,
            closing(open_archive(home, settled)) as file,
        ):
            list(move(old, file))
            assert prints(file) == before


@pytest.mark.timeout(3600)
def test_killed_at_random_both_archives_are_whole(
    tmp_path: Path, times: Callable[[int, int], int]
) -> None:
    """What was there stays there, what has arrived is right, and one run more completes it."""
    written = history()
    written[MANY[0]] = believable(40_000, every_ms=60_000, jitter_ms=90, seed=2)
    total = sum(map(len, written.values()))
    kills, done, chance = 0, 0, random.Random(3)
    while kills < times(2, 60):
        folder = tmp_path / str(done)
        with database(the_server()) as settings:
            home = make_home(folder, toml("influxdb", settings))
            home.readings.mkdir()
            with closing(SqliteArchive(home.archive)) as file:
                file.write(written)
                before = prints(file)
            settled = load_settings(home)
            while kills < times(2, 60):
                with command(home) as process:
                    time.sleep(chance.uniform(0.4, 3.0))
                    process.kill()
                    kills += 1
                if process.returncode == 0:
                    break  # it was faster
                with (
                    closing(open_old_archive(home, settled)) as old,
                    closing(InfluxArchive(settings)) as server,
                ):
                    assert prints(old) == before
                    for key in server.series():
                        there = set(server.columns(key, *EVER).readings(key))
                        assert there <= set(written[key].readings(key))
            code, _, err = run(home)
            assert code == 0, err
            with closing(InfluxArchive(settings)) as server:
                assert prints(server) == before
            done += 1
    told(
        Promise.KEPT, "SIGKILL of `archive move` to an InfluxDB, then one run more", tried=kills,
        of=f"readings of {total:,}",
    )  # fmt: skip


def test_another_value_in_the_new_archive_stays_and_is_said(tmp_path: Path) -> None:
    there, coming = believable(50, seed=1), believable(50, seed=2)
    with (
        closing(SqliteArchive(tmp_path / "old.db")) as old,
        closing(SqliteArchive(tmp_path / "new.db")) as new,
    ):
        old.write({WARM: coming, KEYS[1]: there})
        new.write({WARM: there})
        with pytest.raises(NotSo, match="other values or flags for some of its 50 readings"):
            list(move(old, new))
        assert new.columns(WARM, *EVER) == there
        assert old.columns(WARM, *EVER) == coming


def test_a_server_that_is_away_is_one_line(tmp_path: Path) -> None:
    home = make_home(
        tmp_path / "home",
        '[archive]\nkind = "influxdb"\nurl = "http://127.0.0.1:9"\nbucket = "b"\n',
    )
    with closing(SqliteArchive(tmp_path / "home/readings/archive.db")) as file:
        file.write({WARM: believable(5)})
    code, _, err = run(home)
    assert code == 3
    assert err.count("\n") == 1
    assert "nobody listens there; is it running?" in err
    code, out, err = run(home, "check")
    assert code == 1
    assert "fault: InfluxDB at http://127.0.0.1:9 cannot be reached: nobody listens there" in out
    assert err == "warmcoil: 1 fault found; nothing was changed\n"
    code, out, _ = run(home, "backup", str(tmp_path / "backup"))
    assert code == 0
    assert "Nor are the readings that InfluxDB at http://127.0.0.1:9 keeps" in out
