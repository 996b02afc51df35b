"""What a keeper is told who calibrates a probe: what to prepare, what to mind, what came of it."""

from __future__ import annotations

from typing import Final

from analysis.calibrating import ICE_LIMITS_C, Point, Steadiness, uncertainty_at
from collector.book.records import Calibrated
from collector.calibration import from_record

CAUTIONS: Final = (
    (
        "Mind: only a probe that is sealed for water goes in bare; put any other into a thin, dry, "
        "well-closed bag. Board, power supply and every mains lead stay well away from the water; "
        "let the cable hang in a loop, so that drops fall off before they reach the plug."
    ),
)
TAKEN_OUT: Final = (
    "Meanwhile what the probe reads is no enclosure's: where it has a place, enter that it was "
    "taken out, or the watch will warn of the bath"
)
ICE_STEPS: Final = (
    (
        "1. Crush ice of clean water finely and fill a vacuum flask or a tall mug with it. Pour in "
        "cold clean water until it just fills the gaps: a slurry, with no free water under the ice."
    ),
    "2. Put the probe's tip into the middle, 5 cm deep or more, off wall and bottom.",
    "3. Stir gently every half minute; pour off what melts, add ice. Give it ten minutes.",
)
SECOND_STEPS: Final = (
    "1. Fill a vacuum flask with water of about 37 °C, 10 °C or more from the first point.",
    (
        "2. Put the probe and a reference thermometer in side by side, 5 cm deep or more; a "
        "clinical thermometer that may get wet will do (common practice: sure to about 0.1 °C)."
    ),
    "3. Stir gently all the time and close the flask as far as you can. Give it ten minutes.",
)
_WHERE_C: Final = 31.0


def steady_words(steady: Steadiness | None) -> str:
    """How steady a probe is, in a sentence."""
    if steady is None:
        return "Waiting: it has hardly been heard in the last minutes. Is the collector running?"
    head = f"It reads {steady.mean_c:.2f} °C, uncorrected"
    if steady.why_not is not None:
        return f"Waiting. {head}; {steady.why_not}."
    return (
        f"Steady. {head}; drift {steady.drift_c:+.2f} °C, scatter {steady.scatter_c:.2f} °C, "
        f"{steady.readings} readings."
    )


def points_of(record: Calibrated) -> tuple[Point, Point | None]:
    """The points of a record."""
    first = Point(record.read_c, record.true_c, record.uncertainty_c)
    if (
        record.second_read_c is None
        or record.second_true_c is None
        or record.second_uncertainty_c is None
    ):
        return first, None
    return first, Point(record.second_read_c, record.second_true_c, record.second_uncertainty_c)


def outcome_words(record: Calibrated) -> str:
    """What a calibration corrects, with its uncertainty, on one line."""
    first, second = points_of(record)
    correction = from_record(record)
    if second is None:
        return (
            f"{correction.offset:+.2f} °C is added to every reading; sure to "
            f"±{first.uncertainty_c:.2f} °C (k = 2) near {record.true_c:.0f} °C, by one point"
        )
    shift = correction.apply(_WHERE_C) - _WHERE_C
    sure = uncertainty_at(_WHERE_C, first, second)
    return (
        f"{shift:+.2f} °C near {_WHERE_C:.0f} °C; sure to ±{sure:.2f} °C (k = 2) there, by two "
        f"points ({record.true_c:.2f} and {record.second_true_c:.2f} °C)"
    )


def result_words(record: Calibrated) -> str:
    """What came of a calibration, in plain sentences, with how sure it is."""
    first, second = points_of(record)
    correction = from_record(record)
    if second is None:
        return (
            f"{_shifted(correction.offset)} every reading of this probe. Near "
            f"{record.true_c:.0f} °C it is then right to within ±{first.uncertainty_c:.2f} °C, 95 "
            "times in 100 (k = 2). How it errs where it is warm, one point cannot say."
        )
    sure = uncertainty_at(_WHERE_C, first, second)
    return (
        f"{_shifted(correction.apply(_WHERE_C) - _WHERE_C)} a reading near {_WHERE_C:.0f} °C, and "
        f"elsewhere what the line through both points says. Near {_WHERE_C:.0f} °C it is then "
        f"right to within ±{sure:.2f} °C, 95 times in 100 (k = 2)."
    )


def _shifted(by_c: float) -> str:
    return f"{abs(by_c):.2f} °C is {'added to' if by_c >= 0 else 'taken off'}"


ICE_NOTE: Final = f"ice point, taken as 0.00 ± {ICE_LIMITS_C:.2f} °C"
