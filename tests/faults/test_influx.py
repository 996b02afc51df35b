"""An InfluxDB away, slow, ill or refusing: nothing is lost, it is said, later it is drained."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.readings import Flag, Quantity, Reading, SeriesKey
from collector.sealer import Sealer
from collector.store.archive import ArchiveDown, ArchiveRefused
from collector.store.columns import Columns
from collector.store.influx_archive import InfluxArchive
from collector.store.influx_reading import InfluxReading
from collector.store.influx_text import columns_of
from collector.store.journal import Journal
from collector.store.reader import Reader
from collector.store.sealing import KEPT_ROWS, seal
from config.errors import StoreFault
from config.settings import Archive
from tests.faults.between import Between
from tests.faults.record import Promise, told
from tests.influx import Influxd, database, started, the_server
from tests.plug import eventually

NOW_MS = time.time_ns() // 1_000_000
WARM = SeriesKey("left shelf, warm=side \\ größer", Quantity.TEMPERATURE)
SETTLED = 100 - KEPT_ROWS


def some(count: int, start_ms: int = NOW_MS - 3_600_000) -> list[Reading]:
    return [
        Reading(WARM.probe, WARM.quantity, start_ms + 1000 * i, 30 + i / 16, flags=Flag(i % 7 == 3))
        for i in range(count)
    ]


@pytest.fixture
def between() -> Iterator[Between]:
    made = Between(the_server().port)
    yield made
    made.close()


@pytest.fixture
def settings(between: Between) -> Iterator[Archive]:
    with database(the_server()) as direct:
        yield direct.model_copy(update={"url": between.url, "timeout_seconds": 1.0})


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with closing(Journal(tmp_path / "journal.db")) as made:
        for one in some(100):
            made.commit([one])
        yield made


def everywhere(folder: Path, archive: InfluxArchive) -> list[Reading]:
    with Reader(folder / "journal.db", InfluxReading(archive, patient=False)) as reader:
        return list(reader.columns(WARM, 0, 10**14).readings(WARM))


def in_archive(settings: Archive) -> list[Reading]:
    with closing(InfluxArchive(settings)) as archive:
        return list(archive.columns(WARM, 0, 10**14).readings(WARM))


def kept(fault: str, count: int = 100) -> None:
    """Every one of them was there."""
    told(Promise.KEPT, f"an InfluxDB: {fault}", tried=1, of=f"readings of {count}")


def break_it(between: Between, how: str) -> None:
    if how in ("silent", "broken"):
        between.become("silent" if how == "silent" else "broken")
    elif how == "gone":
        between.close()
    else:
        between.refuse(how)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("broken", "the connection broke"),
        ("silent", "it does not answer in time"),
        ("gone", "nobody listens there; is it running?"),
        ("503 Service Unavailable", "is ill (503"),
        ("429 Too Many Requests", "is ill (429"),
        ("401 Unauthorized", "refuses the token (401); check what archive.token_file names"),
        ("418 I Am A Teapot", "refuses (418"),
    ],
)
def test_a_fault_is_one_line_and_costs_no_reading(
    between: Between, settings: Archive, journal: Journal, tmp_path: Path, *, how: str, said: str
) -> None:
    with closing(InfluxArchive(settings)) as archive:
        break_it(between, how)
        with pytest.raises(ArchiveDown) as fault:
            seal(journal, archive)
        assert said in str(fault.value)
        assert "\n" not in str(fault.value)
        assert len(str(fault.value)) < 300
    between.become("through")
    if how == "gone":
        settings = settings.model_copy(update={"url": the_server().url})
    with closing(InfluxArchive(settings)) as archive:
        assert seal(journal, archive) == SETTLED
        everything = everywhere(tmp_path, archive)
    assert in_archive(settings) == some(100)[:SETTLED]
    assert everything == some(100)
    kept(how if how[0].isdigit() else said.partition(";")[0])


def test_commits_go_on_while_the_server_lets_wait(
    between: Between, settings: Archive, journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    between.become("silent")
    sealer = Sealer(journal, Path("nowhere"), 0.1, open_server=lambda: InfluxArchive(settings))
    began_s = time.monotonic()
    sealer.seal()
    assert not sealer.due()  # one at a time
    journal.commit([Reading(WARM.probe, WARM.quantity, NOW_MS, 21.0)])
    assert time.monotonic() - began_s < 0.5
    assert eventually(sealer.due)
    (line,) = caplog.messages
    assert "it does not answer in time; it keeps its readings" in line
    between.become("through")
    with caplog.at_level(logging.INFO, "collector"):
        sealer.seal()
        assert eventually(lambda: f"sealed {SETTLED + 1} readings" in caplog.messages)
    sealer.close()
    kept("it lets wait while commits go on", 101)


def test_a_bucket_that_is_gone_and_one_that_comes_back(
    settings: Archive, journal: Journal, tmp_path: Path
) -> None:
    server = the_server()
    name = str(settings.bucket).partition("/")[0]
    with closing(InfluxArchive(settings)) as archive:
        server.ask(f"DROP DATABASE {name}")
        with pytest.raises(ArchiveDown, match=r"has no bucket .*make it there"):
            seal(journal, archive)
        server.ask(f"CREATE DATABASE {name} WITH NAME raw")
        assert seal(journal, archive) == SETTLED
        assert everywhere(tmp_path, archive) == some(100)
    kept("its bucket is gone, and made again")


def test_what_is_older_than_the_bucket_keeps_stays_in_the_journal(tmp_path: Path) -> None:
    old, fresh = some(40, NOW_MS - 9 * 3_600_000), some(40, NOW_MS - 600_000)
    with database(the_server(), "1h") as settings, closing(InfluxArchive(settings)) as archive:
        with closing(Journal(tmp_path / "journal.db")) as journal:
            for one in [*old, *fresh]:
                journal.commit([one])
            with pytest.raises(ArchiveRefused, match=r"40 readings.*longer retention"):
                seal(journal, archive)
            reader = InfluxReading(InfluxArchive(settings), patient=False)
            with Reader(tmp_path / "journal.db", reader) as both:
                seen = list(both.columns(WARM, 0, 10**14).readings(WARM))
        assert seen == [*old, *fresh]
    kept("its bucket keeps less long than the journal", 80)


def test_a_field_of_another_type_is_a_partial_write_and_said(settings: Archive) -> None:
    with closing(InfluxArchive(settings)) as archive:
        # Somebody else wrote text where the flags belong.
        archive._server.write(f'warmcoil,probe=x,quantity=humidity raw=1,flags="odd" {NOW_MS}')
        columns = Columns.of(some(8))[WARM]
        with pytest.raises(ArchiveRefused, match="field type conflict"):
            archive.write({WARM: columns})


def test_a_wrong_token_and_then_the_right_one(tmp_path: Path, journal: Journal) -> None:
    from tests.influx import TOKEN

    with started(tmp_path / "influxd", auth=True) as server, database(server) as direct:
        file = tmp_path / "token"
        file.write_text("keeper:mule\n")
        settings = direct.model_copy(update={"token_file": file})
        with closing(InfluxArchive(settings)) as archive:
            with pytest.raises(ArchiveDown, match="refuses the token") as fault:
                seal(journal, archive)
            assert "mule" not in str(fault.value)
            file.write_text(f"{TOKEN}\n")
            assert seal(journal, archive) == SETTLED
            restart_and_read(server, archive)
            assert everywhere(tmp_path, archive) == some(100)
    kept("a wrong token, then the right one; then SIGKILL of the server")


def restart_and_read(server: Influxd, archive: InfluxArchive) -> None:
    """Killed, not stopped: what it acknowledged is there when it is back."""
    server.kill()
    with pytest.raises(ArchiveDown, match="nobody listens"):
        archive.series()
    server.start()
    assert list(archive.columns(WARM, 0, 10**14).readings(WARM)) == some(100)[:SETTLED]


def test_a_watch_goes_on_with_the_journal_and_a_command_does_not(
    between: Between, settings: Archive, tmp_path: Path, journal: Journal,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    seal(journal, InfluxArchive(settings))
    break_it(between, "503 Service Unavailable")
    path = tmp_path / "journal.db"
    patient = InfluxReading(InfluxArchive(settings), patient=True)
    with Reader(path, patient) as reader, caplog.at_level(logging.WARNING, "store"):
        seen = list(reader.columns(WARM, 0, 10**14).readings(WARM))
        assert seen == some(100)[SETTLED:]
        assert reader.latest()[WARM] == some(100)[-1]
    (line,) = caplog.messages
    assert line.endswith("the journal alone is read until it is back")
    strict = InfluxReading(InfluxArchive(settings), patient=False)
    with Reader(path, strict) as reader, pytest.raises(ArchiveDown, match="is ill"):
        reader.columns(WARM, 0, 10**14)


def test_an_answer_cut_short_is_never_taken_for_a_whole_one() -> None:
    whole = "#datatype,string\r\n,result,table,_time,_value,_field\r\n" + "".join(
        f",,0,2026-01-01T00:00:0{i}Z,3{i},raw\r\n" for i in range(3)
    )
    assert len(columns_of(whole + "\r\n\r\n")) == 3
    with pytest.raises(StoreFault, match="broke off"):
        columns_of(whole)
    ill = "#datatype,string,string\r\n,error,reference\r\n,out of memory,897\r\n\r\n"
    with pytest.raises(StoreFault, match="could not finish its answer: out of memory"):
        columns_of(whole + "\r\n" + ill)
