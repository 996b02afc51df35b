"""Style sheets and scripts: our own files and plotly's, from this machine and from no other host.

Each is known by the digest of what is in it, so that a browser keeps it for good and asks for the
new one as soon as there is one.
"""

from __future__ import annotations

import gzip
import hashlib
import importlib.util
import mimetypes
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from config.errors import NotSo

FOLDER = Path(__file__).with_name("static")
PLOTLY = "plotly.js"
_MARK = re.compile(r'getElementById\("([0-9a-f]{64})"\)')
_TYPES = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8"}


@dataclass
class Asset:
    """One file, read and packed when it is first asked for."""

    path: Path

    @cached_property
    def digest(self) -> str:
        """Ten hex digits of what is in it."""
        return hashlib.blake2b(self.path.read_bytes(), digest_size=5).hexdigest()

    @cached_property
    def packed(self) -> bytes:
        """It, packed by gzip (RFC 1952); the same every time."""
        return gzip.compress(self.path.read_bytes(), compresslevel=6, mtime=0)

    @property
    def plain(self) -> bytes:
        """It as it is."""
        return self.path.read_bytes()

    @property
    def media_type(self) -> str:
        """Its media type."""
        known = _TYPES.get(self.path.suffix)
        return known or mimetypes.guess_type(self.path.name)[0] or "application/octet-stream"


def _all() -> dict[str, Asset]:
    own = {path.name: Asset(path) for path in sorted(FOLDER.iterdir()) if path.is_file()}
    plotly = plotly_file()
    return own if plotly is None else {**own, PLOTLY: Asset(plotly)}


@dataclass
class Assets:
    """All of them, by name."""

    files: dict[str, Asset] = field(default_factory=_all)

    def address(self, name: str) -> str:
        """Where a browser finds one."""
        return f"/static/{self.files[name].digest}/{name}"

    def plotly_marks(self) -> tuple[str, ...]:
        """The ids by which plotly's parts see that their style is in the page already."""
        return self._marks

    @cached_property
    def _marks(self) -> tuple[str, ...]:
        plotly = self.files.get(PLOTLY)
        text = plotly.path.read_text("utf-8") if plotly is not None else ""
        return tuple(dict.fromkeys(_MARK.findall(text)))

    def named(self, name: str) -> Asset:
        """One by its name. Raises NotSo."""
        if name not in self.files:
            raise NotSo(f"no file {name!r} on this page")
        return self.files[name]


def plotly_file() -> Path | None:
    """plotly's JavaScript, as its Python package brings it. The package itself is not loaded."""
    spec = importlib.util.find_spec("plotly")
    for place in (spec.submodule_search_locations or ()) if spec is not None else ():
        path = Path(place) / "package_data" / "plotly.min.js"
        if path.is_file():
            return path
    return None
