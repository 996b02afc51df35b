"""What waits for the broker: in order, bounded, and every loss counted."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from hardware.node.faults import SAY_AGAIN_MS, Faults
from hardware.node.ring import Ring
from hardware.node.words import CELSIUS, Fault, Reading

STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("add"), st.integers(1, 12)),
        st.tuples(st.just("send"), st.integers(1, 7)),
        st.tuples(st.sampled_from(["arrived", "failed"]), st.just(0)),
    ),
    max_size=40,
)


@settings(deadline=None)
@given(STEPS, st.integers(1, 10))
def test_whatever_happens_each_reading_arrives_waits_or_is_counted(
    steps: list[tuple[str, int]], capacity: int
) -> None:
    """Held against plain lists: nothing is lost uncounted, nothing overtakes, the bound holds."""
    ring, made, arrived, sent = Ring(capacity), 0, set[int](), list[int]()
    for step, count in steps:
        if step == "add":
            for _ in range(count):
                ring.add(1_000_000 * made, Reading(f"p{made % 3}", CELSIUS, made))
                made += 1
        elif step == "send":
            found = ring.oldest(count)
            sent = [one.value_e4 for _, one in found]
            assert sent == sorted(sent)
            assert all(at_ms == 1_000_000 * one.value_e4 for at_ms, one in found)
        elif step == "arrived":
            ring.done()
            arrived.update(sent)
            sent = []
        else:
            ring.failed()
            sent = []
        assert len(ring) <= capacity
    ring.failed()
    waiting = {one.value_e4 for _, one in ring.oldest(capacity)}
    assert len(arrived | waiting) + ring.dropped == made
    assert len(arrived & waiting) == 0


def test_a_series_too_many_is_counted() -> None:
    ring = Ring(1000)
    for number in range(300):
        ring.add(0, Reading(f"p{number}", CELSIUS, 0))
    assert (len(ring), ring.dropped) == (255, 45)


def test_a_fault_is_said_at_once_and_then_every_ten_minutes() -> None:
    faults, away = Faults(), Fault("p", "no answer")

    def say(at_ms: int) -> list[tuple[str, str]]:
        due = faults.due(at_ms)
        faults.said(due, at_ms)
        return [(one.probe, one.text) for one in due]

    faults.see([away])
    assert len(faults.due(0)) == len(faults.due(0)) == 1  # until it has arrived
    assert say(0) == [("p", "no answer")]
    faults.see([away])
    assert say(1000) == []
    assert say(SAY_AGAIN_MS) == [("p", "no answer")]
    faults.see([Fault("p", "wrong checksum")])
    assert say(SAY_AGAIN_MS + 1) == [("p", "wrong checksum")]
    faults.see([])
    faults.see([away])
    assert say(SAY_AGAIN_MS + 2) == [("p", "no answer")]
    faults.said([Fault("board", "3 readings lost")], 9 * SAY_AGAIN_MS)  # none of its own
    assert len(say(9 * SAY_AGAIN_MS)) == 1
    faults.see([Fault(f"q{number}", "no answer") for number in range(1000)])
    assert len(faults.due(0)) <= 64
