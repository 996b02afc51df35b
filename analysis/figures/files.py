"""A file written whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from config.errors import Unusable


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path`: a reader sees the old file or the new one, never a part.

    Raises Unusable, one line, where it cannot be written; the old file is then untouched.
    """
    try:
        _replace(path, content)
    except OSError as fault:
        raise Unusable(f"{path}: cannot be written: {fault.strerror or fault}") from fault


def _replace(path: Path, content: bytes) -> None:
    if path.is_dir():
        raise IsADirectoryError(None, "it is a folder")
    fresh = path.with_name(f".{secrets.token_hex(8)}.part")
    handle = os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
