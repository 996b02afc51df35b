"""A look scored, part by part (all of it common practice)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.body_look import newest_look, score
from collector.book.records import Look, Neck, Ribs, Skin, Spine, Tail, Vent
from config.care import load_care_profile

CARE = load_care_profile("boa-constrictor")
DAY = 86_400_000
PARTS = {"spine": Spine, "ribs": Ribs, "skin": Skin, "tail": Tail, "vent": Vent, "neck": Neck}


def look(**parts: object) -> Look:
    return Look("Maren", 0, **parts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("parts", "state", "because"),
    [
        # Underweight shows as loose wrinkled skin, spine and ribs.
        ({"spine": Spine.SHARP}, "thin", ["spine sharp"]),
        ({"ribs": Ribs.SEEN}, "thin", ["ribs seen"]),
        ({"skin": Skin.FOLDED}, "thin", ["skin in folds"]),
        # Overweight as bulges beside the vent, a tail not tapering, no step behind the head.
        ({"vent": Vent.BULGING}, "heavy", ["bulges before the vent"]),
        ({"tail": Tail.THICK}, "heavy", ["tail thick"]),
        ({"neck": Neck.LEVEL}, "heavy", ["no step from head to neck"]),
        ({"spine": Spine.BURIED}, "heavy", ["spine buried"]),
        ({"ribs": Ribs.BURIED}, "heavy", ["ribs buried"]),
        ({"spine": Spine.FELT}, "ordinary", ["spine felt"]),
        ({"ribs": Ribs.FELT}, "ordinary", ["ribs felt, not seen"]),
        ({"skin": Skin.SMOOTH, "vent": Vent.FLAT}, "ordinary", None),
        # A part that would show the one only cannot rule out the other.
        ({"skin": Skin.SMOOTH}, "not known", ["skin smooth"]),
        ({"tail": Tail.TAPERING, "neck": Neck.STEPPED, "vent": Vent.FLAT}, "not known", None),
        # As many of both decide nothing, and both are said; more of one do.
        (
            {"spine": Spine.SHARP, "vent": Vent.BULGING},
            "not known",
            ["spine sharp", "bulges before the vent"],
        ),
        (
            {"skin": Skin.FOLDED, "vent": Vent.BULGING, "tail": Tail.THICK},
            "heavy",
            ["tail thick", "bulges before the vent"],
        ),
        ({"spine": Spine.SHARP, "ribs": Ribs.SEEN, "neck": Neck.LEVEL}, "thin", None),
    ],
)
def test_by_hand(parts: dict[str, object], state: str, because: list[str] | None) -> None:
    found, says = score(look(**parts))
    assert found == state
    assert because is None or sorted(says) == sorted(because)


@given(st.fixed_dictionaries({name: st.sampled_from([None, *of]) for name, of in PARTS.items()}))
def test_every_part_has_words_and_only_parts_looked_at_are_told(parts: dict[str, object]) -> None:
    state, says = score(look(**parts))
    assert len(says) <= sum(part is not None for part in parts.values())
    assert bool(says) == any(part is not None for part in parts.values())
    assert state in ("thin", "ordinary", "heavy", "not known")


def test_the_newest_up_to_now_counts_for_sixty_days() -> None:
    looks = [
        Look("Maren", 10 * DAY, Spine.SHARP),
        Look("Maren", 20 * DAY, Spine.BURIED),
        Look("Maren", 30 * DAY, Spine.FELT),
    ]
    found = newest_look(looks, CARE, 25 * DAY)
    assert found is not None
    assert (found.state, found.days_ago, found.fresh) == ("heavy", 5.0, True)
    last = newest_look(looks, CARE, 90 * DAY)
    assert last is not None
    assert last.fresh
    gone = newest_look(looks, CARE, 90 * DAY + 1)
    assert gone is not None
    assert not gone.fresh
    assert newest_look(looks, CARE, 5 * DAY) is None
