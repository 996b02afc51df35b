"""Copied to the top of the board, this starts the node with its settings in node.json."""

import asyncio
import time

from node import settings
from node.node import Node
from node.pins import Pins


def start() -> None:
    """Run; where the settings cannot be used, say why again and again to whoever looks."""
    while True:
        try:
            said = settings.load("node.json")
            node = Node(said, Pins(said))
            break
        except settings.BadSettings as fault:
            print(fault)
        except ValueError as fault:  # MicroPython's word for a pin that is none
            print("node.json: a pin cannot be used on this board:", fault)
        except (OSError, RuntimeError) as fault:  # its sensors are not asked for anything yet
            print("this board's Wi-Fi cannot be started:", fault)
        except MemoryError:
            print("node.json: buffer_readings: more than this board has memory for; give fewer")
        time.sleep(5)
    asyncio.run(node.run())


start()
