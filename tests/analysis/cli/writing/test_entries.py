"""weigh, handle, shed, look, droppings, new, move, place: what they write and say."""

from __future__ import annotations

import pytest

from collector.book.records import (
    Animal,
    Dropping,
    Enclosure,
    Handling,
    Look,
    Placement,
    Shed,
    ShedStage,
    Signs,
    Spine,
    Tail,
    Urate,
    Weighing,
    Zone,
)
from tests.analysis.cli.writing.keeper import Keeper, at

NOW = at("2026-03-03 20:31")


def test_weigh_in_every_way_to_write_it(keeper: Keeper) -> None:
    assert keeper.does("weigh 1830g") == "Weighing of Ombra, 20:31: mass 1,830 g.\n"
    keeper.does("weigh Ombra 1.84kg --length 182cm --midbody 1,6in --when yesterday 20:30")
    keeper.does("weigh ombra 64oz --when 2026-02-01 12:00")
    keeper.does("weigh --length 1.8m --when 2026-02-02 8:30pm")
    with keeper.book() as book:
        assert book.weighings() == [
            Weighing("Ombra", at("2026-02-01 12:00"), 1814.3695),  # 4 lb of 1959: 1814.36948 g
            Weighing("Ombra", at("2026-02-02 20:30"), None, 180.0),
            Weighing("Ombra", at("2026-03-02 20:30"), 1840.0, 182.0, 40.64),
            Weighing("Ombra", NOW, 1830.0),
        ]


def test_a_weighing_is_corrected_not_written_over(keeper: Keeper) -> None:
    keeper.does("weigh 1830g --when 20:00")
    assert "the book has that already" in keeper.fails("weigh 1840g --when 20:00")
    assert keeper.does("weigh 1840g --correct").startswith("Corrected: weighing of Ombra, 20:00")
    keeper.does("weigh --length 182 --correct 20:00")
    keeper.does("weigh --correct --when yesterday 20:00")
    with keeper.book() as book:
        assert book.weighings() == [Weighing("Ombra", at("2026-03-02 20:00"), 1840.0, 182.0)]
        assert len(book.to_take_back()) == 2
    assert "no weighing of Ombra at Tue 3 Mar 2026, 20:00" in keeper.fails(
        "weigh 1 --correct 20:00", code=1
    )
    keeper.does("undo")
    with keeper.book() as book:
        assert [w.at_ms for w in book.weighings()] == [at("2026-03-03 20:00")]
    keeper.does("weigh --midbody 41 --correct 2026-03-03")
    keeper.does("weigh 1842g --when 9:00")
    assert "there are 2: weighing of Ombra, 09:00" in keeper.fails("weigh 1 --correct today")


def test_handling_sheds_looks_and_droppings(keeper: Keeper) -> None:
    keeper.does("meal --prey rat --mass 100 --taken 2026-02-20 20:00")
    said = keeper.does("handle Ombra --minutes 10 --reason", "tub cleaned")
    assert said == "Handling of Ombra, 20:31: for 10 min, reason “tub cleaned”.\n"
    assert keeper.does("shed --in-shed --when 2026-02-24 9:00").endswith("9:00: in shed.\n")
    assert "shed skin found" in keeper.does("shed --note", "in one piece")
    said = keeper.does("look --spine sharp --tail tapering")
    assert said == "Look of Ombra, 20:31: spine sharp, tail tapering.\n"
    said = keeper.does("droppings --urate white --signs mucus")
    assert "ask a vet" in said
    assert "Has meal 1 passed? warmcoil meal 1 --outcome passed" in said
    with keeper.book() as book:
        assert book.handlings() == [Handling("Ombra", NOW, 10.0, "tub cleaned")]
        assert book.sheds() == [
            Shed("Ombra", at("2026-02-24 09:00"), None, ShedStage.IN_SHED),
            Shed("Ombra", NOW, "in one piece", ShedStage.SHED),
        ]
        assert book.looks() == [Look("Ombra", NOW, spine=Spine.SHARP, tail=Tail.TAPERING)]
        assert book.droppings() == [Dropping("Ombra", NOW, Urate.WHITE, Signs.MUCUS)]
    keeper.does("shed --correct --note torn")
    keeper.does("handle --correct --minutes 1.5h")
    with keeper.book() as book:
        assert book.sheds()[-1] == Shed("Ombra", NOW, "torn", ShedStage.SHED)
        assert book.handlings()[0].minutes == 90.0


def test_every_word_of_a_look_is_explained(keeper: Keeper) -> None:
    from analysis.change_words import LOOK_WORDS
    from collector.book.rules import LOOKED_AT
    from collector.book.tables import TABLES

    assert set(LOOK_WORDS) == set(LOOKED_AT)
    assert set(LOOKED_AT) < set(TABLES[Look].columns)
    keeper.does("look --help")
    said = " ".join(keeper.said.split())
    for words in LOOK_WORDS.values():
        for word, means in words.items():
            assert f"{word} = {means}" in said


def test_new_things_and_moves(keeper: Keeper) -> None:
    assert keeper.does("new enclosure tub --room cellar") == "Enclosure tub: room cellar.\n"
    keeper.does("new enclosure tub --change --room attic")
    keeper.does("new animal Ombra --change --sex female")
    said = keeper.does("move Ombra tub --since 2026-02-01")
    assert said == "Ombra in tub since Sun 1 Feb 2026, 00:00.\n"
    keeper.does("move Ombra tub --correct --since 2026-02-02 18:00")
    with keeper.book() as book:
        assert book.enclosures() == [Enclosure("shelf"), Enclosure("tub", "attic")]
        assert book.animal("Ombra").sex == "female"
        assert [(s.enclosure, s.since_ms) for s in book.stays()] == [
            ("shelf", at("2024-01-01")),
            ("tub", at("2026-02-02 18:00")),
        ]
    assert "Ombra in tub since" in keeper.fails("move Ombra tub")
    assert "warmcoil new enclosure 'attic'" in keeper.fails("move Ombra attic", code=1)


def test_probes_are_placed_by_identity_or_name(keeper: Keeper) -> None:
    keeper.set(
        'time_zone = "Europe/Lisbon"\n[[probe]]\nid = "urn:dev:ow:1"\nname = "shelf warm"\n'
        '[[probe]]\nid = "p2"\n'
    )
    keeper.does("place --since 2026-01-01", "shelf warm", "shelf", "warm side")
    keeper.does("place p2 shelf cool --since 2026-01-01")
    keeper.does("place p2 shelf hide --since 2026-02-01 12:00")
    keeper.does("place p2 --out 20:00")
    keeper.does("place p2 --correct --until 2026-03-01")
    with keeper.book() as book:
        assert book.placements() == [
            Placement(
                "p2", "shelf", Zone.COOL_SIDE, at("2026-01-01"), at("2026-02-01 12:00")
            ),
            Placement("urn:dev:ow:1", "shelf", Zone.WARM_SIDE, at("2026-01-01")),
            Placement("p2", "shelf", Zone.HIDE, at("2026-02-01 12:00"), at("2026-03-01")),
        ]  # fmt: skip
    assert "lies nowhere" in keeper.fails("place p2 --out", code=1)
    assert "no probe 'p3' is in the settings" in keeper.fails("place p3 shelf warm")
    assert "is no zone; there are: warm side" in keeper.fails("place p2 shelf attic")
    assert keeper.does("place p3 shelf warm --sure")


def test_who_writes_is_the_login_name_or_the_one_given(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("WARMCOIL_WHO")
    monkeypatch.setenv("LOGNAME", "tomas")
    keeper.does("new animal Pip")
    with keeper.book() as book:
        assert [c.who for c in book.history()] == ["Ines", "Ines", "Ines", "tomas"]
        assert book.animals() == [book.animal("Ombra"), Animal("Pip")]
