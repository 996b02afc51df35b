"""The ribbon as SVG: well-formed, safe on a page, and true to the shape."""

from __future__ import annotations

from collections.abc import Callable
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.figures.meal_shape import meal_ribbon
from analysis.figures.ribbon import Event, RibbonShape, ribbon_shape
from analysis.figures.ribbon_layout import RibbonSize
from analysis.figures.ribbon_svg import ribbon_svg
from analysis.figures.scale import SAND, colour_of
from tests.analysis.figures.scenes import CARE, SCENES, Drawn
from tests.analysis.lines import HOUR, T0, lines

SVG = "{http://www.w3.org/2000/svg}"
SceneOf = Callable[[str], Drawn]


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  # a picture of our own making


def shape_of(scene_of: SceneOf, name: str) -> RibbonShape:
    one = scene_of(name)
    return meal_ribbon(one.review, one.gathered, CARE)


@pytest.mark.parametrize("width", [360, 640])
@pytest.mark.parametrize("name", SCENES)
def test_every_scene_is_well_formed_and_within_its_frame(
    scene_of: SceneOf, name: str, width: int
) -> None:
    shape = shape_of(scene_of, name)
    root = parsed(ribbon_svg(shape, "A meal", RibbonSize(width=width)))
    _, _, w, h = map(float, root.attrib["viewBox"].split())
    assert w == width
    for polygon in root.iter(f"{SVG}polygon"):
        for point in polygon.attrib["points"].split():
            x, y = map(float, point.split(","))
            assert -0.01 <= x <= w + 0.01
            assert -0.01 <= y <= h + 0.01
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == f"A meal: {shape.ending}"
    assert shape.ending in [text.text for text in root.iter(f"{SVG}text")]


def test_one_scale_for_all_meals(scene_of: SceneOf) -> None:
    """The strip of every meal is as long as its days, by the same measure."""
    for name in SCENES:
        shape = shape_of(scene_of, name)
        if not shape.strips:
            continue
        root = parsed(ribbon_svg(shape, "", RibbonSize(width=700)))
        xs = [
            float(point.split(",")[0])
            for polygon in root.iter(f"{SVG}polygon")
            for point in polygon.attrib["points"].split()
        ]
        assert min(xs) == 0
        assert max(xs) == pytest.approx(50 * shape.length_d, abs=0.01)  # 700 / 14 days


def test_cold_is_blue_and_sinks_hot_is_brown_and_rises(scene_of: SceneOf) -> None:
    def steps(name: str) -> dict[str, float]:
        root = parsed(ribbon_svg(shape_of(scene_of, name), "", RibbonSize(strip=100)))
        base = max(float(line.attrib["y1"]) for line in root.iter(f"{SVG}line"))
        tops: dict[str, float] = {}
        for polygon in root.iter(f"{SVG}polygon"):
            top = base - min(float(p.split(",")[1]) for p in polygon.attrib["points"].split())
            fill = polygon.attrib["fill"]
            tops[fill] = max(top, tops.get(fill, 0))
        return tops

    cold, hot = steps("cold-night"), steps("too-hot")
    assert cold[SAND] == hot[SAND]
    deeper = [cold[colour_of(-n)] for n in range(1, 7)]
    assert deeper == sorted(deeper, reverse=True)
    higher = [hot[colour_of(n)] for n in range(1, 6)]
    assert higher == sorted(higher)
    assert higher[-1] > hot[SAND]


def test_missing_readings_have_dots_and_no_strip(scene_of: SceneOf) -> None:
    root = parsed(ribbon_svg(shape_of(scene_of, "heater-failure"), "", RibbonSize(width=700)))
    dotted = [x for x in root.iter(f"{SVG}line") if x.attrib["class"] == "ribbon-missing"]
    ends = [float(x.attrib[end]) for x in dotted for end in ("x1", "x2")]
    hours = (53 + 58 / 60, 61.0, 119 + 58 / 60, 120.6)
    assert ends == pytest.approx([50 * hour / 24 for hour in hours], abs=0.05)
    assert all("stroke-dasharray" in x.attrib for x in dotted)


def test_marks_have_a_word(scene_of: SceneOf) -> None:
    texts = [
        t.text for t in parsed(ribbon_svg(shape_of(scene_of, "cold-night"), "")).iter(f"{SVG}text")
    ]
    assert "handled" in texts
    assert "kept" in texts
    assert "kept, as of day 8" in texts


any_text = st.text(alphabet=st.characters(), max_size=30)


@given(any_text, any_text, any_text)
def test_no_text_becomes_markup(sentence: str, word: str, ending: str) -> None:
    shape = ribbon_shape(
        None, T0, T0 + 90 * HOUR, floor_c=28.0, hot_c=36.0,
        events=(Event(T0 + HOUR, word),), ending=ending,
    )  # fmt: skip
    svg = ribbon_svg(shape, sentence)
    allowed = {"svg", "title", "text", "line", "polygon"}
    assert {element.tag.removeprefix(SVG) for element in parsed(svg).iter()} <= allowed


@given(lines())
def test_no_script_no_inline_style_no_id(line: object) -> None:
    shape = ribbon_shape(line, T0, T0 + 48 * HOUR, floor_c=28.0, hot_c=36.0)  # type: ignore[arg-type]
    for element in parsed(ribbon_svg(shape, "x")).iter():
        assert not {"id", "style", "onload", "href"} & set(element.attrib)


def test_the_same_shape_gives_the_same_text(scene_of: SceneOf) -> None:
    shape = shape_of(scene_of, "odd")
    assert ribbon_svg(shape, "x") == ribbon_svg(shape, "x")


def test_days_can_be_left_out_for_a_stack(scene_of: SceneOf) -> None:
    svg = ribbon_svg(shape_of(scene_of, "good-meal"), "x", RibbonSize(days=False))
    assert "day 1" not in svg
    assert "kept, passed day 9" in svg
