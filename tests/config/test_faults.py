"""A wrong setting in one line: where it stands, what was written, what may be."""

from __future__ import annotations

import pytest

from config.errors import BadSettings
from config.settings import parse_settings


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('tyme_zone = "UTC"', "h.toml: tyme_zone: no such setting; check the spelling"),
        (
            '[show]\ntemperature = "Kelvin"',
            "h.toml: show.temperature: 'Kelvin' cannot be; write 'Cel' or 'degF'",
        ),
        (f'[show]\nmass = "{"x" * 999}"', "h.toml: show.mass: 'xxxx"),
        ('[[serial]]\nport = "a"\nbaud = 1', "h.toml: serial[1].baud: "),
        ("[watch\n", "h.toml: not TOML: "),
        (
            "[mqtt]\n[mqtt]\n",
            "h.toml: not TOML: Cannot declare ('mqtt',) twice (at line 2, column 6); a [part] ",
        ),
    ],
)
def test_one_line_that_says_where_and_what(text: str, says: str) -> None:
    with pytest.raises(BadSettings) as caught:
        parse_settings(text, "h.toml")
    said = str(caught.value)
    assert said.startswith(says)
    assert "\n" not in said
    assert len(said) < 200
