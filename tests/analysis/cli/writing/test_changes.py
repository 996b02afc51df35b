"""history, undo, remove, due: looking back and forward."""

from __future__ import annotations

import json
from pathlib import Path

from collector.book.records import Weighing
from tests.analysis.cli.writing.keeper import Keeper, at


def test_history_says_who_when_and_what(keeper: Keeper) -> None:
    keeper.does("weigh 1830g")
    keeper.now_ms += 60_000
    keeper.does("weigh 1850g --length 182 --correct")
    first, second = keeper.does("history").splitlines()[-2:]
    assert first == "4  Tue 3 Mar 2026, 20:31  Ines: added weighing of Ombra, 20:31: mass 1,830 g"
    assert second == (
        "5  Tue 3 Mar 2026, 20:32  Ines: changed weighing of Ombra, 20:31: "
        "mass: 1,830 g → 1,850 g; length: not known → 182 cm"
    )
    keeper.does("remove weighing Ombra")
    assert "removed weighing of Ombra, 20:31: mass 1,850 g" in keeper.does("history Ombra")
    assert len(keeper.does("history --last 1").splitlines()) == 1
    assert "added enclosure shelf" in keeper.does("history shelf")
    assert "knows nothing of 'Nobody'" in keeper.fails("history Nobody", code=1)
    assert keeper.does("history 99") == "The book has no history of 99.\n"


def test_undo_steps_back_and_can_itself_be_taken_back(keeper: Keeper) -> None:
    keeper.does("weigh 1830g")
    keeper.does("weigh 1850g --correct")
    assert keeper.does("undo").startswith("Taken back: changed weighing of Ombra, 20:31: mass")
    with keeper.book() as book:
        assert book.weighings() == [Weighing("Ombra", at("2026-03-03 20:31"), 1830.0)]
    keeper.does("undo")
    with keeper.book() as book:
        assert book.weighings() == []
        last = book.history()[-1].number
    assert f"(takes back {last - 3})" in keeper.does("history")
    keeper.does(f"undo {last}")
    with keeper.book() as book:
        assert [w.mass_g for w in book.weighings()] == [1830.0]
    assert "was taken back already" in keeper.fails(f"undo {last}", code=1)


def test_an_undo_takes_back_the_whole_command(keeper: Keeper) -> None:
    keeper.does("new animal Pip --in shelf --since 2025-01-01")
    keeper.does("undo")
    with keeper.book() as book:
        assert [a.animal for a in book.animals()] == ["Ombra"]
        assert len(book.stays()) == 1


def test_an_import_is_taken_back_whole_but_asked_about(keeper: Keeper, tmp_path: Path) -> None:
    file = tmp_path / "weights.csv"
    rows = [f"Ombra,2025-{m:02d}-{d:02d}T12:00:00Z,1800,," for m in range(1, 13) for d in (1, 15)]
    text = "animal,time,mass_g,length_cm,midbody_mm\n" + "\n".join(rows)
    file.write_text(text, encoding="utf-8")
    keeper.does("import weights", str(file))
    assert "24 changes together: added weighing × 24" in keeper.does("history")
    assert "that takes back 24 changes of " in keeper.fails("undo")
    keeper.does("undo --sure")
    with keeper.book() as book:
        assert book.weighings() == []


def test_remove_leaves_a_trace_and_names_what_is_in_the_way(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 100 --taken")
    assert keeper.does("remove meal 1").startswith("Removed: meal 1: Ombra, a 100 g rat")
    assert "no meal 1 in the book" in keeper.fails("meal 1", code=1)
    assert "removed meal 1" in keeper.does("history 1")
    keeper.does("undo")
    assert keeper.does("meal 1").startswith("Meal 1: Ombra")
    assert "the book has a stay of it" in keeper.fails("remove animal Ombra")
    assert "which meal?" in keeper.fails("remove meal Ombra")
    assert "the book has no look of Ombra" in keeper.fails("remove look Ombra", code=1)
    keeper.does("remove meal 1")
    keeper.does("remove stay Ombra")
    keeper.does("remove animal Ombra")
    keeper.does("remove enclosure shelf")
    with keeper.book() as book:
        assert (book.animals(), book.enclosures()) == ([], [])


def test_due_lists_what_is_open_with_its_answer(keeper: Keeper) -> None:
    assert keeper.does("due") == "Nothing is open.\n"
    keeper.does("meal --prey rat --mass 100 --taken 2026-02-20 20:00")
    keeper.does("meal")
    assert keeper.does("due --at 2026-03-03T21:00") == (
        "Meal 1: Ombra, a 100 g rat, taken Fri 20 Feb 2026, 20:00: what became of it? "
        "(due 4 days ago) warmcoil meal 1 --outcome kept|passed|regurgitated|vomited --when TIME\n"
    )
    keeper.now_ms += 31 * 60_000
    keeper.does("due --json")
    due = json.loads(keeper.said)
    assert [(d["meal"], d["state"]) for d in due] == [(1, "outcome open"), (2, "still there")]
    assert due[1]["answers"] == ["warmcoil meal 2 --taken TIME", "warmcoil meal 2 --removed"]
    keeper.does("meal 2 --removed")
    keeper.does("meal 1 --outcome passed --when 2026-03-01 9:00")
    assert keeper.does("due") == "Nothing is open.\n"
