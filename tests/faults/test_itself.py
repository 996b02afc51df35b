"""A node publishes as itself alone: the shipped configuration, on a real broker."""

from __future__ import annotations

from typing import Any

from tests.config.deploy.test_broker import NOT_AUTHORIZED, TAKEN, USERS, asker, board
from tests.faults.record import Promise, told

__all__ = ["asker", "board"]

NODES = [user for user in USERS if user.startswith("node-")]


def not_its_own(node: str) -> list[str]:
    """Topics that are somebody else's, or nobody's."""
    others = [
        f"warmcoil/{other}/senml" for other in (*USERS, "node-3", f"{node}1") if other != node
    ]
    return [
        *others, "warmcoil/state/left shelf", f"warmcoil/state/{node}", f"warmcoil/{node}/other",
        f"warmcoil/{node}", f"warmcoil/{node}/senml/more", f"/warmcoil/{node}/senml",
        f"warmcoil/{node.upper()}/senml", f"warmcoil//{node}/senml", f"other/{node}/senml",
        "$SYS/broker/version", f"$share/x/warmcoil/{node}/senml", "senml", node,
    ]  # fmt: skip


def test_a_node_publishes_only_as_itself(asker: Any) -> None:
    hears = asker("warmcoil")
    assert hears.subscribe("warmcoil/+/senml") == "Granted QoS 1"
    taken, tried = [], 0
    for node in NODES:
        one = asker(node)
        for topic in not_its_own(node):
            tried += 1
            if one.publish(topic) != NOT_AUTHORIZED:
                taken.append(f"{node} as {topic}")
        assert one.publish(f"warmcoil/{node}/senml") in TAKEN
        assert hears.hears(f"warmcoil/{node}/senml")
    told(
        Promise.ITSELF, "a node with a pass word publishes on topics that are not its own",
        tried=tried, lost=len(taken), of="messages the broker took",
    )  # fmt: skip
    assert taken == []
    assert hears.heard == [f"warmcoil/{node}/senml" for node in NODES]
