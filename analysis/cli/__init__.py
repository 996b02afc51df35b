"""The command line: the composition root, where the rooms are put together."""

from analysis.cli.app import main

__all__ = ["main"]
