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
    assert len(stored(home)) == 40
