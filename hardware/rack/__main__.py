"""`python -m hardware.rack`: a simulated rack as a process of its own, until stopped."""

from __future__ import annotations

import argparse
import logging
import signal
import sys
import threading
from pathlib import Path
from types import FrameType

from config.errors import WarmcoilError
from hardware.rack import command
from hardware.rack.hearing import hearing
from hardware.rack.layout import Layout, load_layout, small_layout
from hardware.rack.live import LiveRack, Mouths


def main() -> int:
    """Run until SIGINT or SIGTERM; return the exit code."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    options = _parser().parse_args()
    stop = threading.Event()

    def _stop(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _stop)
    try:
        layout = _layout(options.layout, options.seed)
        mouths = Mouths.open(layout, options.serial, options.mqtt, options.mqtt_protocol)
    except WarmcoilError as fault:
        sys.stderr.write(f"rack: {fault}\n")
        return fault.exit_code
    try:
        LiveRack(layout, mouths, options.every, pace=options.pace).run(
            stop, hearing(options.commands)
        )
    finally:
        mouths.close()
    return 0


def _layout(path: Path | None, seed: int | None) -> Layout:
    layout = small_layout() if path is None else load_layout(path)
    return layout if seed is None else layout.model_copy(update={"seed": seed})


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m hardware.rack",
        description="A simulated rack of enclosures and probes, speaking SenML.",
        epilog=command.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("--layout", type=Path, help="what stands in the rack (TOML); without it, two enclosures")
    add("--seed", type=int, help="another seed than the layout's")
    add("--serial", type=Path, metavar="PATH", help="link the serial line's other end here")
    add("--mqtt", type=_address, metavar="HOST:PORT", help="the broker of the MQTT nodes")
    add("--mqtt-protocol", choices=("5", "3.1.1"), default="5")
    add("--every", type=_positive, default=5.0, metavar="SECONDS", help="between readings (5)")
    add("--pace", type=_pace, default=1.0, help="how many times faster the rack's time runs")
    add("--commands", metavar="FILE", help='take commands from lines added to FILE, or "-": stdin')
    return parser


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 < int(port) < 65_536:
        raise argparse.ArgumentTypeError(f"{text!r} is not HOST:PORT")
    return host, int(port)


def _positive(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None
    if not 0 < number <= 3600:
        raise argparse.ArgumentTypeError("give a number over 0 and up to 3600")
    return number


def _pace(text: str) -> float:
    number = _positive(text)
    if number > command.MOST_PACE:
        raise argparse.ArgumentTypeError(f"a pace is at most {command.MOST_PACE:g}")
    return number


if __name__ == "__main__":
    sys.exit(main())
