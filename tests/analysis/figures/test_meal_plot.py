"""The post-meal plot as PNG, SVG and PDF: what stands on it, and that it is always the same."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image
from pypdf import PdfReader

from analysis.figures import plot_meal
from analysis.figures.meal_plot import meal_sheet
from analysis.figures.meal_shape import meal_climate, meal_events, meal_ribbon
from analysis.figures.page import PHONE, WIDE, Form
from analysis.figures.paper import drawing
from analysis.verdict_words import CANNOT_TELL, reason_sentences, verdict_sentence
from collector.book.records import Shed, ShedStage
from config.errors import Unusable
from config.settings import Settings
from tests.analysis.figures.scenes import CARE, HOUR, SCENES, SETTINGS, START, Drawn

SceneOf = Callable[[str], Drawn]
FORMS = {"wide": WIDE, "phone": PHONE}


def draw(one: Drawn, path: Path, settings: Settings = SETTINGS, form: Form = WIDE) -> bytes:
    plot_meal(one.review, one.gathered, path, settings, CARE, form)
    return path.read_bytes()


def figure_of(one: Drawn, settings: Settings = SETTINGS, form: Form = WIDE) -> Figure:
    with drawing():
        return meal_sheet(one.review, one.gathered, ".png", settings, CARE, form).figure


def plot_of(figure: Figure) -> Axes:
    return next(axes for axes in figure.axes if any(x.get_label() == "floor" for x in axes.lines))


def words_of(svg: bytes) -> str:
    root = ET.fromstring(svg)  # noqa: S314  # a picture of our own making
    return unbroken(" ".join(e.text or "" for e in root.iter() if e.tag.endswith("}text")))


def unbroken(text: str) -> str:
    return " ".join(text.split())


# ---- what it says ---------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", SCENES)
def test_every_scene_says_its_verdict_in_svg(
    scene_of: SceneOf, tmp_path: Path, name: str, form: str
) -> None:
    one = scene_of(name)
    words = words_of(draw(one, tmp_path / "m.svg", form=FORMS[form]))
    assert unbroken(verdict_sentence(one.review)) in words
    assert one.review.verdict in words
    assert all(unbroken(text) in words for text in reason_sentences(one.review))
    assert CANNOT_TELL in words
    assert "floor 28.0 °C" in words
    assert "too hot 36.0 °C" in words


def test_what_happened_stands_at_its_hour(scene_of: SceneOf, tmp_path: Path) -> None:
    words = words_of(draw(scene_of("came-back"), tmp_path / "m.svg"))
    for text in (
        "Maren took a 220 g rat on Tue 3 Mar 2026 at 21:39",
        "left shelf; 31 % of its body mass (700 g)",
        "came back after 41 h",
        "handled ×2",
        "regurgitated",
        "warm side",
        "cool side",
        "Wed 4 Mar",
    ):
        assert text in words, text


def test_the_room_is_drawn_where_there_is_a_probe(scene_of: SceneOf, tmp_path: Path) -> None:
    assert " room " in words_of(draw(scene_of("cold-night"), tmp_path / "a.svg"))
    assert " room " not in words_of(draw(scene_of("good-meal"), tmp_path / "b.svg"))


def test_nothing_known_can_be_drawn(scene_of: SceneOf, tmp_path: Path) -> None:
    words = words_of(draw(scene_of("unknown"), tmp_path / "m.svg"))
    for text in (
        "a meal (prey and mass not known)",
        "body mass not known",
        "no probe on the warm side",
        "There was no warm-side probe",
        "prey or body mass is not known",
        "day 3",
    ):
        assert text in words, text


def test_fahrenheit_where_the_keeper_wants_it(scene_of: SceneOf, tmp_path: Path) -> None:
    settings = Settings.model_validate({"show": {"temperature": "degF", "mass": "oz"}})
    words = words_of(draw(scene_of("cold-night"), tmp_path / "m.svg", settings))
    assert "floor 82.4 °F" in words  # 28 × 9/5 + 32
    assert "a 7.8 oz rat" in words  # 220 / 28.349523125 = 7.76
    axes = plot_of(figure_of(scene_of("cold-night"), settings))
    floor = next(x for x in axes.lines if x.get_label() == "floor")
    assert np.asarray(floor.get_ydata()) == pytest.approx([82.4, 82.4])


def test_what_matters_is_bold_in_svg_too(scene_of: SceneOf, tmp_path: Path) -> None:
    root = ET.fromstring(draw(scene_of("came-back"), tmp_path / "m.svg"))  # noqa: S314
    bold = {
        unbroken(e.text or "")
        for e in root.iter()
        if e.tag.endswith("}text") and "700" in e.attrib["style"]  # bold, in CSS
    }
    assert bold == {
        "Maren took a 220 g rat on Tue 3 Mar 2026 at 21:39",
        "came back after 41 h",
        "warm side",
        "The warm side was too cool.",
    }


def test_an_svg_without_our_letters_is_still_without_serifs(
    scene_of: SceneOf, tmp_path: Path
) -> None:
    root = ET.fromstring(draw(scene_of("unknown"), tmp_path / "m.svg"))  # noqa: S314  # our own
    styles = [e.attrib["style"] for e in root.iter() if e.tag.endswith("}text")]
    assert all("'DejaVu Sans', 'Verdana', sans-serif" in style for style in styles)


def test_names_are_text_and_never_markup(scene_of: SceneOf, tmp_path: Path) -> None:
    svg = draw(scene_of("odd"), tmp_path / "m.svg")
    assert b"<b>" not in svg
    words = words_of(svg)
    assert "Sir $x_1$ \N{SNAKE} <b>שלום</b> & the very long name" in words
    assert "hopping \N{RABBIT FACE} rabbit $kit$" in words


# ---- the drawing itself ---------------------------------------------------------------------


def test_gaps_are_blank(scene_of: SceneOf) -> None:
    axes = plot_of(figure_of(scene_of("heater-failure")))
    line = next(x for x in axes.lines if x.get_label() == "warm side")
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    known = ~np.isnan(y)
    assert np.isnan(y).sum() == 2
    for start, end in ((54.0, 61.0), (120.0, 120.6)):
        assert not ((x[known] > start) & (x[known] < end - 1e-6)).any()
    dots = next(c for c in axes.collections if c.get_label() == "gaps")
    spans = [np.asarray(path.vertices)[:, 0].tolist() for path in dots.get_paths()]
    assert spans == [
        pytest.approx([53.9667, 61.0], abs=0.04),
        pytest.approx([120, 120.6], abs=0.04),
    ]


def test_the_column_of_a_gap_has_only_the_ground_in_it(scene_of: SceneOf) -> None:
    figure = figure_of(scene_of("heater-failure"))
    out = BytesIO()
    with drawing():
        figure.savefig(out, format="png")
    pixels = np.asarray(Image.open(out).convert("RGB")).astype(int)
    axes = plot_of(figure)
    left, right = axes.transData.transform([(55.0, 20), (60.0, 20)])[:, 0]
    bottom, top = axes.transData.transform([(0, 22.3), (0, 24.7)])[:, 1]
    height = pixels.shape[0]
    part = pixels[height - round(top) : height - round(bottom), round(left) : round(right)]
    # Between the dashed lower limits there is paper and night, and nothing drawn on them.
    assert part.min() >= 0xE3
    filled = axes.transData.transform([(70.0, 24.0)])[0]
    blue = pixels[height - round(filled[1]), round(filled[0])]
    assert blue[2] > blue[0] + 20  # the cold after the gap is shaded


def test_the_cold_is_shaded_to_its_depth(scene_of: SceneOf) -> None:
    one = scene_of("cold-night")
    axes = plot_of(figure_of(one))
    shades = next(c for c in axes.collections if c.get_label() == "beyond limits")
    corners = np.concatenate([np.asarray(path.vertices) for path in shades.get_paths()])
    warm = one.review.warm_side
    assert warm is not None
    assert corners[:, 1].min() == warm.min_c
    assert corners[:, 1].max() == pytest.approx(28.0)
    assert corners[:, 0].min() > 29.0  # the heat went after 29 h


def test_lower_limits_are_drawn_where_they_were_passed(scene_of: SceneOf) -> None:
    def lower(name: str) -> list[float]:
        lines = plot_of(figure_of(scene_of(name))).lines
        found = (np.asarray(x.get_ydata()) for x in lines if x.get_label() == "lower limit")
        return sorted(float(y[0]) for y in found)

    assert lower("good-meal") == []
    assert lower("heater-failure") == [22.0, 25.0]


def test_every_word_is_on_the_sheet(scene_of: SceneOf) -> None:
    for name, form in (("odd", WIDE), ("odd", PHONE), ("came-back", PHONE), ("unknown", PHONE)):
        figure = figure_of(scene_of(name), form=form)
        with drawing():
            canvas = figure.canvas
            canvas.draw()
            width, height = canvas.get_width_height()
            for axes in figure.axes:
                for text in axes.texts:
                    box = text.get_window_extent()
                    assert -1 <= box.x0 <= box.x1 <= width + 1, text.get_text()
                    assert -1 <= box.y0 <= box.y1 <= height + 1, text.get_text()


def test_no_words_lie_on_each_other(scene_of: SceneOf) -> None:
    for name in SCENES:
        for form in FORMS.values():
            figure = figure_of(scene_of(name), form=form)
            with drawing():
                figure.canvas.draw()
                boxes = [
                    (text.get_text(), text.get_window_extent())
                    for axes in figure.axes
                    for text in axes.texts
                ]
            for i, (a, box) in enumerate(boxes):
                for b, other in boxes[i + 1 :]:
                    # Letters' boxes hold the room above and below them: a pixel or two is none.
                    apart = (
                        box.x1 <= other.x0 + 2
                        or other.x1 <= box.x0 + 2
                        or box.y1 <= other.y0 + 3
                        or other.y1 <= box.y0 + 3
                    )
                    assert apart, (name, a, b)


def test_small_letters_can_be_read_on_a_telephone(scene_of: SceneOf) -> None:
    figure = figure_of(scene_of("good-meal"), form=PHONE)
    per_point = 360 / PHONE.width
    sizes = [float(text.get_fontsize()) for axes in figure.axes for text in axes.texts]
    assert min(sizes) * per_point >= 8.0


# ---- the files ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("suffix", "magic"), [("png", b"\x89PNG\r\n\x1a\n"), ("svg", b"<?xml"), ("pdf", b"%PDF-")]
)
def test_the_same_meal_gives_the_same_bytes(
    scene_of: SceneOf, tmp_path: Path, suffix: str, magic: bytes
) -> None:
    one = scene_of("odd")
    first = draw(one, tmp_path / f"a.{suffix}")
    assert first.startswith(magic)
    assert draw(one, tmp_path / f"b.{suffix.upper()}") == first
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"a.{suffix}", f"b.{suffix.upper()}"]


_ELSEWHERE = """
import sys
from pathlib import Path
from analysis.figures import plot_meal
from tests.analysis.figures.scenes import CARE, SETTINGS, cold_night, draw_scene
one = draw_scene(cold_night(), Path(sys.argv[1]))
plot_meal(one.review, one.gathered, Path(sys.argv[2]), SETTINGS, CARE)
"""


@pytest.mark.parametrize("suffix", ["svg", "pdf"])
def test_another_process_on_another_day_gives_the_same_bytes(
    scene_of: SceneOf, tmp_path: Path, suffix: str
) -> None:
    out = tmp_path / f"m.{suffix}"
    subprocess.run(
        [sys.executable, "-W", "error", "-c", _ELSEWHERE, str(tmp_path), str(out)],
        env={**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "86400",
             "MPLBACKEND": "svg"},
        check=True,
    )  # fmt: skip
    assert out.read_bytes() == draw(scene_of("cold-night"), tmp_path / f"here.{suffix}")


@pytest.mark.parametrize("form", FORMS)
def test_the_pdf_is_one_page_with_the_words_as_text(
    scene_of: SceneOf, tmp_path: Path, form: str
) -> None:
    one = scene_of("heater-failure")
    pdf = PdfReader(BytesIO(draw(one, tmp_path / "m.pdf", form=FORMS[form])))
    assert len(pdf.pages) == 1
    words = unbroken(pdf.pages[0].extract_text())
    assert verdict_sentence(one.review) in words
    assert CANNOT_TELL in words
    assert "floor 28.0 °C" in words
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Maren took a 220 g rat on Tue 3 Mar 2026 at 21:39"
    assert pdf.metadata.creation_date is None
    assert pdf.pages[0].mediabox.width == pytest.approx(FORMS[form].width)


def test_the_png_is_as_wide_as_its_form(scene_of: SceneOf, tmp_path: Path) -> None:
    for name, form in FORMS.items():
        draw(scene_of("good-meal"), tmp_path / f"{name}.png", form=form)
        with Image.open(tmp_path / f"{name}.png") as image:
            assert image.width == int(form.width / 72 * 200)


def test_only_pictures_we_can_draw(scene_of: SceneOf, tmp_path: Path) -> None:
    one = scene_of("good-meal")
    for name in ("m.gif", "m", "m.png.txt"):
        with pytest.raises(Unusable, match=r"\.png, \.svg or \.pdf") as told:
            draw(one, tmp_path / name)
        assert "\n" not in str(told.value)
    with pytest.raises(Unusable, match="cannot be written"):
        draw(one, tmp_path / "nowhere" / "m.png")
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(Unusable, match="it is a folder"):
        draw(one, tmp_path / "folder.png")
    assert [p.name for p in tmp_path.iterdir()] == ["folder.png"]


# ---- from the review to the drawing ---------------------------------------------------------


def test_the_plot_shows_the_window_and_its_limits(scene_of: SceneOf) -> None:
    climate = meal_climate(scene_of("came-back").gathered, CARE)
    assert climate.start_ms == START
    assert climate.end_ms == START + round(41.3 * HOUR)
    assert (climate.floor_c, climate.hot_c, climate.lower_limits_c) == (28.0, 36.0, (25.0, 22.0))
    assert [event.word for event in climate.events] == ["handled"] * 3 + ["regurgitated"]


def test_the_ribbon_says_what_became_of_the_meal(scene_of: SceneOf) -> None:
    endings = {
        "good-meal": "kept, passed day 9",
        "cold-night": "kept, as of day 8",
        "heater-failure": "outcome not known yet",
        "too-hot": "kept",
        "ongoing": "day 4 of about 8",
        "came-back": "came back after 41 h",
        "unknown": "day 3",
    }
    for name, ending in endings.items():
        one = scene_of(name)
        shape = meal_ribbon(one.review, one.gathered, CARE)
        assert shape.ending == ending
        assert (shape.expected_d is not None) == (name == "ongoing")


def test_the_outcome_is_the_last_event(scene_of: SceneOf) -> None:
    events = meal_events(scene_of("cold-night").gathered, CARE)
    assert [(event.word, event.ends_it) for event in events] == [("handled", False), ("kept", True)]


def test_sheds_stand_at_their_hour_as_long_as_they_matter(scene_of: SceneOf) -> None:
    """Within its window (8.1 days here), or the seven days after it in which a skin counts."""
    one = scene_of("cold-night").gathered
    days = (-1.0, 0.5, 6.9, 8.5)
    sheds = tuple(Shed("Maren", START + round(d * 24 * HOUR)) for d in days)
    dull = Shed("Maren", START + 30 * HOUR, stage=ShedStage.IN_SHED)
    events = meal_events(replace(one, sheds=(*sheds, dull)), CARE)
    assert [(event.word, (event.at_ms - START) / HOUR) for event in events] == [
        ("shed", 12.0),
        ("in shed", 30.0),
        ("handled", 62.0),
        ("shed", pytest.approx(165.6)),
        ("kept", 168.0),
    ]
    shape = meal_ribbon(scene_of("cold-night").review, replace(one, sheds=sheds), CARE)
    assert [mark.word for mark in shape.marks if "shed" in mark.word] == ["shed", "shed"]
