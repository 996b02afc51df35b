"""How the watch and the delivery speak to the journal of the system: one line each, on stderr."""

from __future__ import annotations

import logging


def log_to_stderr() -> None:
    """Our own lines from INFO up; other libraries' only when they are errors."""
    logging.basicConfig(
        level=logging.ERROR, format="%(asctime)s %(levelname)s %(message)s", force=True
    )
    for ours in ("analysis", "collector", "__main__"):
        logging.getLogger(ours).setLevel(logging.INFO)
