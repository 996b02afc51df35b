"""Power cuts and lost links of a node: `python -m tests.campaigns.node [--cuts N] [--breaks N]`.

The firmware under MicroPython publishes through mosquitto into the collector. Every reading that
it takes has a value of its own, written down by its sensor; so what is missing, twice or made up
in the store can be counted.

A power cut (SIGKILL at any moment) takes what the node had not yet been acknowledged: its buffer
is memory. A lost link (cut, silent in one direction, or the broker away) takes nothing.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

from tests.broker import HOST, Mosquitto
from tests.collector_process import CollectorProcess, make_home, stored
from tests.hardware.node.stand import COOL, WARM, NodeProcess, TimeServer, over_mqtt
from tests.plug import eventually
from tests.wire import Wire

Value = tuple[str, float]
_PATIENCE_S = 60.0
_STEP_C = 0.5  # from one life of the node to the next: more than a life climbs


class Bench:
    """A node, its wire to the broker, and the collector behind it."""

    def __init__(self, stack: ExitStack, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        (folder / "broker").mkdir(parents=True)
        self.broker = Mosquitto(folder / "broker")
        self.broker.start()
        stack.callback(self.broker.stop)
        self.wire = Wire(self.broker.port)
        stack.callback(self.wire.close)
        server = TimeServer()
        stack.callback(server.close)
        settings = f'[collect]\ncommit_seconds = 0.2\n[mqtt]\nhost = "{HOST}"\n'
        home = make_home(folder / "home", f"{settings}port = {self.broker.port}\n")
        self.collector = CollectorProcess(home)
        stack.callback(self.collector.kill)
        assert eventually(lambda: self.collector.said("mqtt: subscribed"), 20)
        self.node = NodeProcess(folder / "node", over_mqtt(self.wire.port, server))
        stack.callback(self.node.kill)

    def taken(self) -> set[Value]:
        """All that the firmware read."""
        return {(probe, value) for probe in (WARM, COOL) for value in self.node.values(probe)}

    def kept(self) -> Counter[Value]:
        """All that is stored, and how often."""
        probes = (WARM, COOL)
        found = stored(self.collector.home)
        return Counter((one.probe, one.raw) for one in found if one.probe in probes)

    def figures(self, name: str, times: int, most_missing: int) -> dict[str, object]:
        """Counted at the end."""
        taken, kept = self.taken(), self.kept()
        return {
            "figure": name,
            "times": times,
            "taken": len(taken),
            "missing": len(taken - set(kept)),
            "most_missing_at_once": most_missing,
            "twice": sum(count > 1 for count in kept.values()),
            "made_up": len(set(kept) - taken),
        }


def power_cuts(folder: Path, cuts: int, seed: int) -> dict[str, object]:
    """The node is killed at a random moment, and started again, `cuts` times."""
    with ExitStack() as stack:
        bench = Bench(stack, folder, seed)
        missing, most = 0, 0
        for life in range(cuts):
            bench.node.start(celsius=10.0 + life % 200 * _STEP_C)
            time.sleep(bench.chance.uniform(1.0, 6.0))
            bench.node.kill()
            time.sleep(0.7)  # the broker and the collector have what they were given
            now = len(bench.taken() - set(bench.kept()))
            missing, most = now, max(most, now - missing)
        return bench.figures("power cuts", cuts, most)


def lost_links(folder: Path, breaks: int, seed: int) -> dict[str, object]:
    """The link is lost in one of three ways, `breaks` times, while the node reads on."""
    with ExitStack() as stack:
        bench = Bench(stack, folder, seed)
        bench.node.start()
        for _ in range(breaks):
            time.sleep(bench.chance.uniform(0.5, 4.0))
            _break(bench)
        bench.node.tell("freeze")  # it reads no more, and sends what waits
        time.sleep(2.0)
        began_s = time.monotonic()
        eventually(lambda: bench.taken() <= set(bench.kept()), _PATIENCE_S)
        figures = bench.figures("lost links", breaks, 0)
        return {**figures, "seconds_until_whole": round(time.monotonic() - began_s, 1)}


def _break(bench: Bench) -> None:
    away_s = bench.chance.uniform(0.2, 4.0)
    kind = bench.chance.choice(("cut", "deaf", "broker"))
    if kind == "broker":
        bench.broker.stop()
        time.sleep(away_s)
        bench.broker.start()
    elif kind == "deaf":
        bench.wire.deafen()
        time.sleep(away_s)
    bench.wire.mend()


def main() -> int:
    """Print a JSON line for each promise; 1 when one of them is broken."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.node")
    parser.add_argument("--cuts", type=int, default=40)
    parser.add_argument("--breaks", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    broken = False
    with tempfile.TemporaryDirectory() as folder:
        for run, times in ((power_cuts, given.cuts), (lost_links, given.breaks)):
            figures = run(Path(folder) / run.__name__, times, given.seed)
            sys.stdout.write(json.dumps(figures) + "\n")
            sys.stdout.flush()
            broken |= not promised(figures)
    return int(broken)


def promised(figures: dict[str, object]) -> bool:
    """Nothing twice, nothing made up, nothing missing but what a dead board had in memory."""
    whole = figures["twice"] == figures["made_up"] == 0
    return whole and (figures["figure"] == "power cuts" or figures["missing"] == 0)


if __name__ == "__main__":
    sys.exit(main())
