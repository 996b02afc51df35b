"""Everything of a home in one file, taken while it runs; and a home from such a file.

The file is a tar: `manifest.json` first (format, size and SHA-256 of every member), then the
members by their path in the home. Databases are copied by SQLite's online backup, so each is of
one moment. Password files lie outside the home and are not in it; the settings file is.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import sqlite3
import tarfile
import tempfile
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from config.errors import NotSo, Unusable
from config.home import Home

_FORMAT = 1
_MANIFEST = "manifest.json"
_CHUNK = 1 << 20


def backup(home: Home, file: Path) -> None:
    """Write the home to `file`, which appears whole or not at all. Raises NotSo without a home."""
    home.must_exist()
    with tempfile.TemporaryDirectory(dir=file.absolute().parent, prefix=".warmcoil-") as name:
        folder = Path(name)
        members = _copied(home, folder)
        whole = folder / "whole.tar"
        with tarfile.open(whole, "w") as tar:
            text = json.dumps({"format": _FORMAT, "members": members}, indent=1).encode()
            info = tarfile.TarInfo(_MANIFEST)
            info.size = len(text)
            tar.addfile(info, io.BytesIO(text))
            for member in members:
                tar.add(folder / "home" / member, arcname=member, recursive=False)
        _synced(whole)
        whole.replace(file)


def restore(file: Path, home: Home) -> None:
    """Make `home` from a backup file; every member's hash is verified first.

    Raises NotSo when there is something at the home already, Unusable when the file is no whole
    backup of ours; then nothing is there afterwards.
    """
    folder = home.folder.absolute()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NotSo(f"{folder}: there is something here already; restore into a new folder")
    folder.parent.mkdir(parents=True, exist_ok=True)
    staging = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-"))
    try:
        try:
            with tarfile.open(file, "r:") as tar:
                _unpack(tar, file, staging)
        except (tarfile.TarError, EOFError) as fault:
            raise Unusable(f"{file}: not a whole Warmcoil backup: {fault}") from fault
        if folder.exists():
            folder.rmdir()
        staging.rename(folder)
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _copied(home: Home, folder: Path) -> dict[str, dict[str, Any]]:
    """Copies of the home's files under `folder`/home; what each is, by its path in the home."""
    members: dict[str, dict[str, Any]] = {}
    databases = {home.book, home.alarms, home.journal, home.archive}
    plain = {home.settings, *(home.folder / "care").glob("*.toml")}
    # The journal before the archive: a reading sealed between the two is then in both, not lost.
    for path in (home.journal, home.archive, home.book, home.alarms, *sorted(plain)):
        if not path.is_file():
            continue
        name = path.relative_to(home.folder).as_posix()
        copy = folder / "home" / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        if path in databases:
            _copy_database(path, copy)
        else:
            shutil.copyfile(path, copy)
        members[name] = {"bytes": copy.stat().st_size, "sha256": _sha256(copy)}
    return members


def _copy_database(path: Path, copy: Path) -> None:
    uri = f"{path.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as source, closing(sqlite3.connect(copy)) as to:
        source.backup(to)


def _unpack(tar: tarfile.TarFile, file: Path, staging: Path) -> None:
    members = _manifest(tar, file)
    for name, said in members.items():
        target = staging / name
        if target.resolve() != target or not target.resolve().is_relative_to(staging.resolve()):
            raise Unusable(f"{file}: member {name!r} leads outside the home; nothing was restored")
        try:
            info = tar.getmember(name)
        except KeyError as fault:
            raise Unusable(f"{file}: member {name!r} is missing; nothing was restored") from fault
        source = tar.extractfile(info) if info.isreg() else None
        if source is None:
            raise Unusable(f"{file}: member {name!r} is not a file; nothing was restored")
        target.parent.mkdir(parents=True, exist_ok=True)
        with source, target.open("wb") as out:
            shutil.copyfileobj(source, out, _CHUNK)
        _synced(target)
        if _sha256(target) != said["sha256"]:
            raise Unusable(f"{file}: member {name!r} is damaged; nothing was restored")


def _manifest(tar: tarfile.TarFile, file: Path) -> Mapping[str, Mapping[str, Any]]:
    try:
        first = tar.next()
        stream = tar.extractfile(first) if first is not None and first.isreg() else None
        if first is None or stream is None or first.name != _MANIFEST:
            raise Unusable(f"{file}: not a Warmcoil backup")
        document = json.loads(stream.read(_CHUNK))
        if document["format"] > _FORMAT:
            raise Unusable(f"{file}: made by a newer Warmcoil; update this one first")
        members = {
            str(name): {"sha256": str(m["sha256"])} for name, m in document["members"].items()
        }
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise Unusable(f"{file}: not a Warmcoil backup: its manifest cannot be read") from fault
    if "warmcoil.toml" not in members:
        raise Unusable(f"{file}: not a Warmcoil backup: it has no settings")
    return members


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _synced(path: Path) -> None:
    with path.open("rb") as stream:
        os.fsync(stream.fileno())
