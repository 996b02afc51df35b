"""A card whose power may go at any call: what of a recording can be on it then.

Nothing is certain but what was synced. Of the writes since, any may have reached the card, in any
order, whole or by sectors of 512 octets; of the changes of names since, the first few. Two kinds of
file system: one that writes its names down with any sync (ext4 in its usual mode: a sync commits
its journal), and one that does so only at the sync of the folder (all that POSIX promises).
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.recording import Event

SECTOR = 512
Pending = tuple[int, bytes] | int
"""A write (from where on, what) or a cut (to which size)."""


@dataclass(slots=True)
class _File:
    """What is on the card for certain, and what was done since. A folder is a file of nothing."""

    safe: bytearray = field(default_factory=bytearray)
    pending: list[Pending] = field(default_factory=list)
    folder: bool = False

    def now(self) -> bytearray:
        whole = bytearray(self.safe)
        for one in self.pending:
            _do(whole, one)
        return whole

    def sync(self) -> None:
        self.safe, self.pending = self.now(), []


Names = dict[str, _File]


@dataclass(frozen=True, slots=True)
class _Naming:
    kind: str
    path: str
    file: _File | None = None
    to: str = ""
    moved: Names = field(default_factory=dict)
    """What stands under the names changed, afterwards."""

    def folders(self) -> set[str]:
        return {str(Path(path).parent) for path in (self.path, self.to) if path}

    def do(self, names: Names) -> None:
        if self.kind == "made":
            assert self.file is not None
            names[self.path] = self.file
        elif self.kind == "unlink":
            names.pop(self.path, None)
        else:
            for path in {**_below(names, self.path), **_below(names, self.to)}:
                del names[path]
            names.update(self.moved)


class Card:
    """A folder on the card, from its state at the beginning on."""

    def __init__(self, folder: Path) -> None:
        self._folder = str(folder)
        self._safe: Names = {}
        for path in (folder, *folder.rglob("*")):
            content = b"" if path.is_dir() else path.read_bytes()
            self._safe[str(path)] = _File(bytearray(content), folder=path.is_dir())
        self._now = dict(self._safe)
        self._renamed: list[tuple[_Naming, bool]] = []
        """What was done to names, and whether it is on a card that writes all names at a sync."""

    def do(self, event: Event) -> None:
        """One more call was made."""
        file = self._now.get(event.path)
        if event.kind in {"made", "folder"}:
            if file is None:
                self._name(_Naming("made", event.path, _File(folder=event.kind == "folder")))
        elif event.kind in {"rename", "unlink"}:
            under = _below(self._now, event.path).items() if event.to else ()
            moved = {event.to + path[len(event.path) :]: one for path, one in under}
            self._name(_Naming(event.kind, event.path, to=event.to, moved=moved))
        elif file is not None:  # else one that is deleted and still open
            self._do_to(file, event)

    def _do_to(self, file: _File, event: Event) -> None:
        if event.kind == "write":
            file.pending.append((event.offset, event.octets))
        elif event.kind == "copy":
            source = self._now[event.to].now()
            file.pending.append((event.offset, bytes(source[event.offset :][: event.size])))
        elif event.kind == "cut":
            file.pending.append(event.size)
        elif event.kind == "sync":
            file.sync()
            self._renamed = [(one, True) for one, _ in self._renamed]
            if file.folder:
                self._settle(event.path)

    def _name(self, naming: _Naming) -> None:
        naming.do(self._now)
        self._renamed.append((naming, False))

    def _settle(self, folder: str) -> None:
        """The names in one folder are on any card now."""
        left = []
        for naming, synced in self._renamed:
            if folder in naming.folders():
                naming.do(self._safe)
            else:
                left.append((naming, synced))
        self._renamed = left

    def unsynced(self) -> int:
        """How many octets of writes were not synced."""
        writes = (one for file in self._now.values() for one in file.pending)
        return sum(len(one[1]) for one in writes if not isinstance(one, int))

    def image(self, chance: random.Random, to: Path) -> str:
        """Write down what is on the card after a power cut now; in words, what kind it was."""
        posix = chance.random() < 0.5
        keep = chance.choice(("nothing", "everything", "some writes", "some sectors", "the first"))
        names = self._names(chance, posix=posix)
        for path, file in sorted(names.items()):
            target = to / Path(path).relative_to(self._folder)
            if file.folder:
                target.mkdir(parents=True, exist_ok=True)
            elif not path.endswith("-shm"):  # memory that processes share; made anew
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(_kept(file, keep, chance))
        return f"{keep} kept, {'POSIX' if posix else 'ext4'}"

    def _names(self, chance: random.Random, *, posix: bool) -> Names:
        names = dict(self._safe)
        done = 0 if posix else sum(1 for _, synced in self._renamed if synced)
        for naming, _ in self._renamed[: chance.randint(done, len(self._renamed))]:
            naming.do(names)
        return names


def cuts(
    card: Card, recording: Iterable[Event], count: int, chance: random.Random
) -> Iterator[tuple[Card, list[str]]]:
    """The card at `count` moments between two calls, and what the process had said by then."""
    done = list(recording)
    moments = sorted(chance.randrange(1, len(done) + 1) for _ in range(count))
    at = 0
    said: list[str] = []
    for moment in moments:
        for event in done[at:moment]:
            if event.kind == "said":
                said += event.octets.decode().splitlines()
            card.do(event)
        at = moment
        yield card, list(said)


def _kept(file: _File, keep: str, chance: random.Random) -> bytes:
    whole = bytearray(file.safe)
    pending: Iterable[Pending] = file.pending
    if keep == "nothing":
        pending = ()
    elif keep == "the first":
        pending = file.pending[: chance.randint(0, len(file.pending))]
    elif keep == "some writes":
        pending = [one for one in file.pending if chance.random() < 0.5]
    elif keep == "some sectors":
        pending = [part for one in file.pending for part in _parts(one) if chance.random() < 0.5]
    for one in pending:
        _do(whole, one)
    return bytes(whole)


def _parts(one: Pending) -> Iterator[Pending]:
    if isinstance(one, int):
        yield one
        return
    offset, octets = one
    at = 0
    while at < len(octets):
        size = SECTOR - (offset + at) % SECTOR
        yield offset + at, octets[at : at + size]
        at += size


def _do(whole: bytearray, one: Pending) -> None:
    size = one if isinstance(one, int) else one[0]
    if size > len(whole):
        whole.extend(bytes(size - len(whole)))
    if isinstance(one, int):
        del whole[one:]
    else:
        whole[one[0] : one[0] + len(one[1])] = one[1]


def _below(names: Names, folder: str) -> Names:
    return {
        path: file
        for path, file in names.items()
        if path == folder or path.startswith(f"{folder}/")
    }
