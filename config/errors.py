"""Every error a keeper can mend, in one tree, each with its exit code.

    WarmcoilError
    ├── NotSo            1   something asked for is not so (no such animal, check found faults)
    └── Unusable         2   wrong use or unreadable input
        ├── BadSettings      a settings file or care profile that cannot be used
        ├── BadRows          rows of an import that cannot be used
        ├── BadPayload       a frame or message that does not say what it should
        └── BadEntry         a record that contradicts the book or itself
    StoreFault           3   the store on disk cannot be read or written

The text of each is one line that says what is wrong, where, and what to do. Anything that is
not in this tree is unexpected: it ends the process, and the service manager starts it again.
"""


class WarmcoilError(Exception):
    """The root: shown to the keeper as one line, without a traceback."""

    exit_code = 1


class NotSo(WarmcoilError):
    """Something asked for is not so."""

    exit_code = 1


class Unusable(WarmcoilError):
    """Wrong use, or input that cannot be read."""

    exit_code = 2


class BadSettings(Unusable):
    """A settings file or a care profile that cannot be used."""


class BadPayload(Unusable):
    """A frame or message that does not say what it should; dropped and counted, never guessed."""


class BadEntry(Unusable):
    """A record that contradicts the book or itself.

    `field` and `why` are the parts of the text that an import names beside the line.
    """

    def __init__(self, text: str, *, field: str = "", why: str = "") -> None:
        self.field = field
        self.why = why or text
        super().__init__(text)


class BadRows(Unusable):
    """Rows of an import that cannot be used. Nothing of the file was taken.

    `faults` holds one text per bad row, each with line, field and reason; `more` how many
    further bad rows there are.
    """

    def __init__(self, source: str, faults: list[str], more: int = 0) -> None:
        self.source = source
        self.faults = faults
        self.more = more
        tail = f"; and {more} more" if more else ""
        super().__init__(f"{source}: {'; '.join(faults)}{tail}; nothing was imported")


class StoreFault(WarmcoilError):
    """The store on disk cannot be read or written."""

    exit_code = 3
