"""Everything of a home in one file, taken while it runs; and a home from such a file.

The file is a tar: `manifest.json` first (format, when, size and SHA-256 of every member), then the
members by their path in the home. Databases are copied by SQLite's online backup, so each is of
one moment. Files with passwords are not in it; the settings are, and may name addresses to keep
to oneself: so only its owner may read the file.
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import re
import shutil
import sqlite3
import stat
import tarfile
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Self

from collector import rfc3339
from collector.store.copying import sync
from config.errors import BadSettings, NotSo, StoreFault, Unusable
from config.home import Home
from config.settings import load_settings

FORMAT = 1
_MANIFEST = "manifest.json"
_LONGEST_MANIFEST = 1 << 20
_LONGEST_HEADER = 1 << 16
_HEADERS = (
    tarfile.XHDTYPE, tarfile.XGLTYPE, tarfile.SOLARIS_XHDTYPE, tarfile.GNUTYPE_LONGNAME,
    tarfile.GNUTYPE_LONGLINK,
)  # fmt: skip
"""Members that are read to understand the next one."""
_CHUNK = 1 << 20
_WAIT_SECONDS = 30.0
_PLAIN = re.compile(r"warmcoil\.toml|care/[a-z0-9-]+\.toml")
_DATABASES = ("readings/journal.db", "readings/archive.db", "book.db", "alarms.db")
"""The journal before the archive: a reading sealed between the two is then in both, not lost."""

Members = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Taken:
    """What a backup holds, by path in the home, and which files with secrets it leaves out."""

    members: tuple[str, ...]
    left_out: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class Restored:
    """When the backup was taken (UTC ms), and where the home that was there before went."""

    taken_ms: int
    moved_to: Path | None


def _wall_clock_ms() -> int:
    return time.time_ns() // 1_000_000


def backup(home: Home, file: Path, *, now_ms: Callable[[], int] = _wall_clock_ms) -> Taken:
    """Write the home to `file`, which appears whole or not at all; an older backup is replaced.

    Raises NotSo without a home, Unusable where another file is in the way, StoreFault when
    something cannot be read or written.
    """
    home.must_exist()
    file = file.absolute()
    if (file.exists() or file.is_symlink()) and not _is_backup(file):
        raise Unusable(f"{file}: there is something else here; choose another name")
    with (
        _speaking_of(file),
        tempfile.TemporaryDirectory(dir=file.parent, prefix=".backup-") as name,
    ):
        folder = Path(name)
        members = _copied(home, folder / "home")
        whole = folder / "whole.tar"
        _write(whole, folder / "home", members, rfc3339.written(now_ms() // 1000 * 1000))
        whole.chmod(0o600)
        sync(whole)
        whole.replace(file)
        sync(file.parent)
    return Taken(tuple(members), _secrets(home))


def verify(file: Path) -> int:
    """Read a backup back; when it was taken (UTC ms). Nothing is written.

    Raises Unusable when it is not whole: a member missing, too many, or not as its manifest says.
    """
    with _open(file) as tar:
        members, taken_ms = _listed(tar, file)
        for name, said in members.items():
            with _member(tar, file, name, said) as source:
                if hashlib.file_digest(source, "sha256").hexdigest() != said["sha256"]:  # type: ignore[arg-type]  # a file object of tarfile's
                    raise _refused(file, name, "is damaged")
    return taken_ms


def restore(file: Path, home: Home, *, replace: bool = False) -> Restored:
    """Make `home` from a backup; every hash is verified before anything appears there.

    With `replace`, a home that is there is moved aside, not deleted; stop what runs there first.
    Raises NotSo when there is something and `replace` is not given, Unusable when the file is no
    whole backup, StoreFault when the disk fails; then everything is as it was.
    """
    folder = _resolved(home.folder)
    if not replace and folder.exists() and not _is_empty(folder):
        raise NotSo(f"{folder}: there is something here already; restore into a new folder")
    with _speaking_of(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-"))
    try:
        with _open(file) as tar, _speaking_of(staging):
            members, taken_ms = _listed(tar, file)
            _must_fit(members, file, staging)
            _unpack(tar, file, staging, members)
        with _speaking_of(folder):
            return Restored(taken_ms, _put_in_place(staging, folder))
    finally:
        shutil.rmtree(staging, ignore_errors=True)


# ---- writing -------------------------------------------------------------------------------------


def _copied(home: Home, to: Path) -> dict[str, dict[str, Any]]:
    """Copies of the home's files, and what each is, by its path in the home."""
    members: dict[str, dict[str, Any]] = {}
    plain = [home.settings, *sorted((home.folder / "care").glob("*.toml"))]
    names = [path.relative_to(home.folder).as_posix() for path in plain]
    for name in (*_DATABASES, *filter(_PLAIN.fullmatch, names)):
        source, copy = home.folder / name, to / name
        if not source.is_file():
            continue
        copy.parent.mkdir(parents=True, exist_ok=True)
        if name in _DATABASES:
            _copy_database(source, copy)
        else:
            shutil.copyfile(source, copy)
        members[name] = {"bytes": copy.stat().st_size, "sha256": _sha256(copy)}
    return members


def _copy_database(path: Path, copy: Path) -> None:
    uri = f"{path.absolute().as_uri()}?mode=ro"
    with (
        _speaking_of(path),
        closing(sqlite3.connect(uri, uri=True, timeout=_WAIT_SECONDS)) as source,
        closing(sqlite3.connect(copy)) as to,
    ):
        source.backup(to)


def _write(whole: Path, folder: Path, members: Members, taken: str) -> None:
    manifest = {"format": FORMAT, "taken": taken, "members": members}
    text = json.dumps(manifest, indent=1).encode()
    with tarfile.open(whole, "w") as tar:
        info = tarfile.TarInfo(_MANIFEST)
        info.size = len(text)
        tar.addfile(info, io.BytesIO(text))
        for name in members:
            info = tarfile.TarInfo(name)  # no names of users, no times: only what it is
            info.size = (folder / name).stat().st_size
            with (folder / name).open("rb") as stream:
                tar.addfile(info, stream)


def _secrets(home: Home) -> tuple[Path, ...]:
    try:
        settings = load_settings(home)
    except BadSettings:
        return ()  # a home with a slip in its settings is worth a backup all the more
    named = (
        settings.mqtt.password_file,
        settings.watch.notify_file,
        settings.archive.token_file,
    )
    return tuple(path for path in named if path is not None)


# ---- reading -------------------------------------------------------------------------------------


class _Info(tarfile.TarInfo):
    """A member whose header is read into memory whole only when it is short."""

    @classmethod
    def frombuf(cls, buf: bytes | bytearray, encoding: str, errors: str) -> Self:
        """From a block of the file. Raises ReadError."""
        info = super().frombuf(buf, encoding, errors)
        if info.type in _HEADERS and info.size > _LONGEST_HEADER:
            raise tarfile.ReadError("a header that is too long")
        return info


@contextmanager
def _open(file: Path) -> Iterator[tarfile.TarFile]:
    try:
        if not stat.S_ISREG(file.stat().st_mode):
            raise Unusable(f"{file}: is no file, so no Warmcoil backup")
        with tarfile.open(file, "r:", tarinfo=_Info) as tar:
            yield tar
    except (tarfile.TarError, EOFError) as fault:
        raise Unusable(f"{file}: not a whole Warmcoil backup; nothing was restored") from fault
    except OSError as fault:
        raise Unusable(f"{file}: cannot be read: {fault.strerror or fault}") from fault


def _is_backup(file: Path) -> bool:
    try:
        with _open(file) as tar:
            _manifest(tar, file)
    except Unusable:
        return False
    return True


def _must_fit(members: Members, file: Path, staging: Path) -> None:
    takes, free = sum(said["bytes"] for said in members.values()), _free_bytes(staging)
    if takes > free:
        raise StoreFault(f"{file}: takes {takes:,} bytes where {free:,} are free; make room")


def _free_bytes(folder: Path) -> int:
    return shutil.disk_usage(folder).free


def _unpack(tar: tarfile.TarFile, file: Path, staging: Path, members: Members) -> None:
    """All members, each as its manifest says or Unusable."""
    for name, said in members.items():
        target = staging / name
        target.parent.mkdir(parents=True, exist_ok=True)
        with _member(tar, file, name, said) as source, target.open("wb") as out:
            shutil.copyfileobj(source, out, _CHUNK)
        sync(target)
        if _sha256(target) != said["sha256"]:
            raise _refused(file, name, "is damaged")


def _listed(tar: tarfile.TarFile, file: Path) -> tuple[Members, int]:
    """What the manifest says, once the members are the same ones; and when it was taken."""
    members, taken_ms = _manifest(tar, file)
    there = {info.name: info for info in tar.getmembers() if info.name != _MANIFEST}
    for name in (*there, *members):
        if name not in _DATABASES and not _PLAIN.fullmatch(name):
            raise _refused(file, name, "does not belong in a home")
        if name not in members or name not in there:
            raise _refused(file, name, "is missing, or not named in its manifest")
        if there[name].type not in (tarfile.REGTYPE, tarfile.AREGTYPE):
            raise _refused(file, name, "is not a file")
    return members, taken_ms


def _member(tar: tarfile.TarFile, file: Path, name: str, said: Mapping[str, Any]) -> IO[bytes]:
    source = tar.extractfile(name)
    if source is None or tar.getmember(name).size != said["bytes"]:
        raise _refused(file, name, "is damaged")
    return source


def _manifest(tar: tarfile.TarFile, file: Path) -> tuple[Members, int]:
    first = tar.next()
    if first is None or first.name != _MANIFEST or not first.isreg():
        raise Unusable(f"{file}: not a Warmcoil backup; nothing was restored")
    stream = tar.extractfile(first)
    try:
        document: Any = json.loads(stream.read(_LONGEST_MANIFEST)) if stream is not None else {}
        if document["format"] > FORMAT:
            raise Unusable(f"{file}: made by a newer Warmcoil; install that version first")
        members = {
            str(name): {"bytes": int(said["bytes"]), "sha256": str(said["sha256"])}
            for name, said in document["members"].items()
        }
        taken_ms = rfc3339.parse(document["taken"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
        raise Unusable(f"{file}: its manifest cannot be read; nothing was restored") from fault
    if "warmcoil.toml" not in members:
        raise Unusable(f"{file}: it has no settings; nothing was restored")
    return members, taken_ms


def _put_in_place(staging: Path, folder: Path) -> Path | None:
    """One rename, two where a home has to make room; it comes back when the second fails."""
    for made in (*(path for path in staging.iterdir() if path.is_dir()), staging):
        sync(made)
    aside = None
    if folder.exists():
        staging.chmod(folder.stat().st_mode & 0o7777)
        if _is_empty(folder):
            folder.rmdir()
        else:
            aside = _unused(folder)
            folder.rename(aside)
    else:
        staging.chmod(0o755)
    try:
        staging.rename(folder)
    except OSError:
        if aside is not None:
            aside.rename(folder)
        raise
    sync(folder.parent)
    return aside


def _resolved(folder: Path) -> Path:
    try:
        return folder.resolve()
    except RuntimeError as fault:  # a link that leads to itself, until Python 3.12
        raise StoreFault(f"{folder}: a link that leads to itself; remove it") from fault


def _unused(folder: Path) -> Path:
    number = 1
    while (aside := folder.with_name(f"{folder.name}.before-restore-{number}")).exists():
        number += 1
    return aside


def _is_empty(folder: Path) -> bool:
    return folder.is_dir() and not any(folder.iterdir())


def _refused(file: Path, name: str, why: str) -> Unusable:
    return Unusable(f"{file}: member {name[:60]!r} {why}; nothing was restored")


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def _speaking_of(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.DatabaseError as fault:
        raise StoreFault(f"{path}: cannot be copied ({fault}); see: warmcoil check") from fault
    except OSError as fault:
        full = fault.errno == errno.ENOSPC
        why = "the disk is full; make room" if full else fault.strerror or str(fault)
        raise StoreFault(f"{fault.filename or path}: {why}") from fault
