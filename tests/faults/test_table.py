"""The table of promises is what was told, and stands between its marks."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults import record, table
from tests.faults.record import Promise, told
from tests.tables import put


def test_a_row_for_what_was_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    document, lines = tmp_path / "D.md", tmp_path / "lines"
    document.write_text("a\n<!-- promises: begin -->\nold\n<!-- promises: end -->\nb\n", "utf-8")
    monkeypatch.setenv(record.FILE, str(lines))
    told(Promise.SYNCED, "power cut", tried=200, lost=3, of="readings of 4,000")
    told(Promise.KEPT, "SIGKILL", tried=1200, lost=0, note="12 s")
    assert table.main([str(lines), str(document)]) == 1  # others were not tried
    assert document.read_text("utf-8").splitlines() == [
        "a",
        "<!-- promises: begin -->",
        "| promise | fault | times | lost | beside |",
        "|---|---|---|---|---|",
        f"| {Promise.KEPT} | SIGKILL | 1,200 | 0 | 12 s |",
        f"| {Promise.SYNCED} | power cut | 200 | 3 readings of 4,000 |  |",
        "<!-- promises: end -->",
        "b",
    ]


def test_a_document_without_marks_is_refused(tmp_path: Path) -> None:
    document = tmp_path / "D.md"
    document.write_text("nothing\n", "utf-8")
    with pytest.raises(ValueError, match="no marks for promises"):
        put("promises", ["x"], document)
    assert document.read_text("utf-8") == "nothing\n"
