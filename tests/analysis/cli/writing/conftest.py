"""The keeper, for every test of this folder."""

from tests.analysis.cli.writing.keeper import keeper

__all__ = ["keeper"]
