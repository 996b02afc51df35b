"""Letters, lines and files of a sheet."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import matplotlib as mpl
import pytest

from analysis.figures.files import write_whole
from analysis.figures.paper import Sheet, drawable, drawing, width_of, wrapped


def test_lines_are_no_wider_than_they_may_be() -> None:
    text = "The warm side was below 28 °C for 17.1 h at a stretch, from Wed 4 Mar 2026, 21:47. " * 3
    lines = wrapped(text, 200, 10)
    assert all(width_of(line, 10) <= 200 for line in lines)
    assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == text.strip()


@pytest.mark.parametrize(
    "together", ["6 h", "31.2 °C", "3 Mar 2026", "220 g", "42 %", "9 days", "Tue 3 Mar"]
)
def test_a_number_and_its_unit_stay_together(together: str) -> None:
    room = width_of(f"limit {together.rsplit(' ', 1)[0]}", 10) + 1
    joined = together.replace(" ", "\N{NO-BREAK SPACE}")
    assert wrapped(f"limit {together}", max(room, width_of(together, 10) + 1), 10) == [
        "limit",
        joined,
    ]


def test_a_word_too_long_for_a_line_is_broken() -> None:
    lines = wrapped("x" * 100, 90, 10)
    assert "".join(lines) == "x" * 100
    assert all(width_of(line, 10) <= 90 for line in lines)


def test_nothing_gives_one_empty_line() -> None:
    assert wrapped("", 100, 10) == [""]
    assert wrapped(" \n\t ", 100, 10) == [""]


def test_signs_that_the_letters_lack_are_boxes() -> None:
    assert drawable("a\N{SNAKE}b日") == "a□b□"
    assert drawable("°C ≈ − × שלום é") == "°C ≈ − × שלום é"
    assert drawable("é°−×", bold=True) == "é°−×"


def test_odd_text_needs_no_warning_in_any_file() -> None:
    # The tests' warnings are errors.
    for suffix in (".png", ".svg", ".pdf"):
        with drawing():
            sheet = Sheet(200, 50, suffix, title="\N{SNAKE} $x_1$ \x07 \u202e < & 日本")
            sheet.write(5, 20, "\N{SNAKE} $x_1$ \x07 \u202e < & 日本 \ud800", 10)
            assert len(sheet.picture()) > 500


def test_a_keepers_own_matplotlib_settings_do_not_show(tmp_path: Path) -> None:
    def picture() -> bytes:
        with drawing():
            sheet = Sheet(100, 50, ".png")
            sheet.write(5, 20, "28.0 °C", 10)
            return sheet.picture()

    plain = picture()
    with mpl.rc_context({"font.size": 30, "savefig.dpi": 10, "savefig.bbox": "tight",
                         "axes.facecolor": "red", "figure.facecolor": "red"}):  # fmt: skip
        assert picture() == plain
        assert mpl.rcParams["font.size"] == 30  # and ours do not stay


def test_two_threads_draw_one_after_the_other() -> None:
    found: list[bytes] = []

    def draw() -> None:
        with drawing():
            sheet = Sheet(100, 50, ".svg")
            sheet.write(5, 20, "warm side", 10)
            found.append(sheet.picture())

    threads = [threading.Thread(target=draw) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 4
    assert len(set(found)) == 1


# ---- files ----------------------------------------------------------------------------------


def test_a_file_is_replaced_whole_and_keeps_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "m.png"
    write_whole(path, b"old")
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~mask


_NO_ROOM = """
import resource, sys
from pathlib import Path
from analysis.figures.files import write_whole
from config.errors import Unusable
resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
try:
    write_whole(Path(sys.argv[1]), bytes(5000))
except Unusable as fault:
    print(fault)
"""


def test_where_there_is_no_room_the_old_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "m.png"
    write_whole(path, b"old")
    told = subprocess.run(
        [sys.executable, "-c", _NO_ROOM, str(path)], check=True, capture_output=True, text=True
    )
    assert told.stdout == f"{path}: cannot be written: File too large\n"
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_the_ribbon_alone_loads_no_matplotlib() -> None:
    code = (
        "import sys, analysis.figures.ribbon_svg; "
        "sys.exit(any(m.split('.')[0] in ('matplotlib', 'pandas') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_figures_has_what_it_names() -> None:
    import analysis.figures

    assert all(callable(getattr(analysis.figures, name)) for name in analysis.figures.__all__)
    with pytest.raises(AttributeError, match="no attribute 'plot_nothing'"):
        analysis.figures.plot_nothing  # noqa: B018
