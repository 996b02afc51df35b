"""Sealing from time to time, and an archive that cannot be written."""

from __future__ import annotations

import logging
from contextlib import closing
from pathlib import Path

import pytest

from collector.readings import Quantity, Reading
from collector.sealer import Sealer
from collector.store.journal import Journal
from config.home import Home
from tests.collector_process import stored


def test_an_archive_that_cannot_be_written_costs_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    home = Home(tmp_path)
    now_s = 0.0
    with closing(Journal(home.journal)) as journal:
        for i in range(40):
            journal.commit([Reading("p", Quantity.TEMPERATURE, 1_900_000_000_000 + i, 30.0)])
        sealer = Sealer(journal, home.archive, 3600.0, lambda: now_s)
        now_s = 3599.0
        assert not sealer.due()
        now_s = 3600.0
        assert sealer.due()
        home.archive.mkdir()
        with caplog.at_level(logging.WARNING, "collector"):
            sealer.seal()
        (message,) = caplog.messages
        assert message.startswith("the journal cannot be sealed: ")
        assert not sealer.due()
        home.archive.rmdir()
        now_s += 300.0
        assert sealer.due()
        sealer.seal()
        assert home.archive.is_file()
        assert not sealer.due()
        sealer.close()
    assert len(stored(home)) == 40


def test_an_archive_that_was_replaced_is_opened_anew(tmp_path: Path) -> None:
    home = Home(tmp_path)
    with (
        closing(Journal(home.journal)) as journal,
        closing(Sealer(journal, home.archive, 60.0)) as sealer,
    ):
        for part in range(2):
            for i in range(40):
                at_ms = 1_900_000_000_000 + 100 * part + i
                journal.commit([Reading("p", Quantity.TEMPERATURE, at_ms, 30.0)])
            sealer.seal()
            if part == 0:
                for path in tmp_path.glob("readings/archive.db*"):
                    path.unlink()
    assert len(stored(home)) == 40 + 16  # the newest commits were in the journal all along
