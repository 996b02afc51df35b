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
            break
        except settings.BadSettings as fault:
            print(fault)
            time.sleep(5)
    asyncio.run(Node(said, Pins(said)).run())


start()
