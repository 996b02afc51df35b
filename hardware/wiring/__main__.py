"""`python -m hardware.wiring`: write the drawings anew."""

from __future__ import annotations

from pathlib import Path

from hardware.wiring.drawings import ALL

for name, draw in ALL.items():
    Path(__file__).with_name(name).write_text(draw().text(), encoding="utf-8")
