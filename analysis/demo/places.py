"""Where the demo keeps its own things, beside those that every home has."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from config.errors import NotSo, Unusable
from config.home import Home


@dataclass(frozen=True, slots=True)
class DemoPlaces:
    """The paths of a demo home. Making one touches no file."""

    home: Home

    @property
    def folder(self) -> Path:
        """Everything below is in here."""
        return self.home.folder / "demo"

    @property
    def records(self) -> Path:
        """The CSV files that the records were imported from."""
        return self.folder / "records"

    @property
    def logs(self) -> Path:
        """What the demo's processes say."""
        return self.folder / "logs"

    @property
    def broker(self) -> Path:
        """The broker's configuration and store."""
        return self.folder / "broker"

    @property
    def layout(self) -> Path:
        """What stands in the simulated rack."""
        return self.folder / "rack.toml"

    @property
    def commands(self) -> Path:
        """Lines added here make something go wrong in the rack, or right again."""
        return self.folder / "commands"

    @property
    def serial(self) -> Path:
        """The link to the rack's serial line while it runs."""
        return self.folder / "serial"

    @property
    def highlights(self) -> Path:
        """What is worth looking at (JSON)."""
        return self.folder / "highlights.json"

    @property
    def lock(self) -> Path:
        """Held while a demo runs in this home."""
        return self.folder / "lock"

    def are_built(self) -> bool:
        """True for a demo home, False where one can be built.

        Raises NotSo for a home that is a keeper's own, Unusable for a folder with other things.
        """
        if self.highlights.is_file() and self.home.settings.is_file():
            return True
        if self.home.settings.is_file():
            raise NotSo(
                f"{self.home.folder} is a home, but not the demo's; nothing was changed; "
                "choose another folder with --home"
            )
        folder = self.home.folder
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise Unusable(f"{folder} is not an empty folder; choose another with --home")
        return False
