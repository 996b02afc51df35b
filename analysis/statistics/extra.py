"""The heavy libraries of the extra `statistics`, imported when asked for and not before."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

from config.errors import NotSo


def needed(module: str) -> ModuleType:
    """Import `module` of the extra `statistics`. Raises NotSo, one line, where it is missing."""
    try:
        return import_module(module)
    except ModuleNotFoundError as fault:
        raise NotSo(
            f"this comparison needs {fault.name or module}, which is not installed; install it "
            f"with: pip install 'warmcoil[statistics]'"
        ) from fault
