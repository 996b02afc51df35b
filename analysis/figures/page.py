"""A picture from top to bottom: a title, the ribbon, the plot, words beneath. And its two forms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.figures.climate import Climate
from analysis.figures.climate_draw import Box, draw_climate
from analysis.figures.paper import Sheet, wrapped
from analysis.figures.ribbon import SCALE_DAYS, RibbonShape
from analysis.figures.ribbon_draw import draw_ribbon, laid_out
from analysis.figures.ribbon_layout import RibbonSize
from analysis.figures.scale import INK, SOFT_INK
from config.settings import Settings

_LINE = 1.42
"""From one base line to the next, in sizes of the letters."""


@dataclass(frozen=True, slots=True)
class Form:
    """How large a picture is, in points."""

    width: float
    margin: float
    plot: float
    title: float
    heading: float
    body: float
    strip: float

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * self.margin


WIDE = Form(width=720, margin=26, plot=290, title=15, heading=12.5, body=10, strip=30)
"""For a desk and for paper."""
PHONE = Form(width=372, margin=15, plot=250, title=15, heading=13, body=10.5, strip=26)
"""For a telephone: shown 360 pixels wide, its smallest letters are 8 pixels high or more."""


@dataclass(frozen=True, slots=True)
class Writing:
    """A paragraph and how it is written; it is broken into lines by the sheet's width."""

    text: str
    size: float
    bold: bool = False
    colour: str = INK
    space: float = 0.0
    """Room above it."""


@dataclass(frozen=True, slots=True)
class Picture:
    """What stands on the picture."""

    title: str
    under_title: str
    ribbon: RibbonShape | None
    climate: Climate
    heading: str
    body: Sequence[str]
    small_print: str = ""


def draw_picture(picture: Picture, suffix: str, settings: Settings, form: Form) -> Sheet:
    """The picture's sheet. To be called inside `drawing`."""
    head, foot = _head(picture, form), _foot(picture, form)
    size = _ribbon_size(picture.ribbon, form)
    ribbon = laid_out(picture.ribbon, size) if picture.ribbon is not None else None
    ribbon_room = ribbon.height + 1.6 * form.body if ribbon is not None else 0.0
    height = 2 * form.margin + _height(head, form) + ribbon_room + form.plot + _height(foot, form)
    sheet = Sheet(form.width, height + form.body, suffix, title=picture.title)
    top = _write(sheet, head, form.margin, form) + form.body
    if ribbon is not None:
        draw_ribbon(sheet, ribbon, size, form.margin, top)
    top += ribbon_room
    draw_climate(
        sheet, picture.climate, settings, Box(form.margin, top, form.inner, form.plot, form.body)
    )
    _write(sheet, foot, top + form.plot, form)
    return sheet


def _ribbon_size(shape: RibbonShape | None, form: Form) -> RibbonSize:
    """One scale for all meals; longer only where a care profile's window is."""
    longest = math.ceil(shape.length_d) if shape is not None else 0
    return RibbonSize(
        width=form.inner,
        strip=form.strip,
        letters=form.body * 1.1,
        small=form.body * 0.9,
        scale_days=max(SCALE_DAYS, longest),
    )


def _head(picture: Picture, form: Form) -> list[Writing]:
    return _lines(
        [
            Writing(picture.title, form.title, bold=True),
            Writing(picture.under_title, form.body, colour=SOFT_INK, space=0.2 * form.body),
        ],
        form,
    )


def _foot(picture: Picture, form: Form) -> list[Writing]:
    return _lines(
        [
            Writing(picture.heading, form.heading, bold=True, space=0.9 * form.body),
            *(Writing(text, form.body, space=0.3 * form.body) for text in picture.body),
            Writing(picture.small_print, form.body, colour=SOFT_INK, space=0.7 * form.body),
        ],
        form,
    )


def _lines(writings: Sequence[Writing], form: Form) -> list[Writing]:
    """The writings line by line; the room above stays with the first line of each."""
    return [
        Writing(line, one.size, one.bold, one.colour, one.space if row == 0 else 0.0)
        for one in writings
        for row, line in enumerate(wrapped(one.text, form.inner, one.size, bold=one.bold))
        if line
    ]


def _height(lines: Sequence[Writing], form: Form) -> float:
    return _write(None, lines, 0.0, form)


def _write(sheet: Sheet | None, lines: Sequence[Writing], top: float, form: Form) -> float:
    """Write the lines down from `top`; return where the next would begin."""
    for line in lines:
        top += line.space
        if sheet is not None:
            sheet.write(
                form.margin,
                top + line.size,
                line.text,
                line.size,
                bold=line.bold,
                colour=line.colour,
            )
        top += line.size * _LINE
    return top
