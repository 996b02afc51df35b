"""The paper drawn: A4, in the keeper's units and zone, in words first and readable in grey."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path

from analysis import condition_words, verdict_words
from analysis.change_words import record_words
from analysis.figures.climate_draw import Box, draw_climate
from analysis.figures.files import write_whole
from analysis.figures.meal_shape import circumstances, meal_climate
from analysis.figures.paper import Sheet, drawing
from analysis.figures.ribbon import SCALE_DAYS
from analysis.figures.ribbon_draw import draw_ribbon, laid_out
from analysis.figures.ribbon_layout import RibbonSize
from analysis.figures.sheets import BODY, MARGIN, SMALL, WIDTH, About, Column, Sheets
from analysis.for_vet.charts import draw_masses
from analysis.for_vet.drawn_climate import draw_temperatures, upper
from analysis.for_vet.report import MealOnPaper, VetReport
from analysis.for_vet.unknown import not_known, refused
from analysis.gathering import Gathered
from analysis.meal_words import meal_sentence
from analysis.words import (
    body_length,
    count,
    local_day,
    local_day_of,
    local_time,
    mass,
    plain,
    width,
    years_or_months,
)
from collector.book.records import Record
from config.errors import Unusable

CAUTIONS = (
    (
        "It is not veterinary advice: what a vet says overrides it. A rule that was broken is a "
        "place to begin, not a cause."
    ),
    (
        "Verdicts speak of temperatures alone: whether the warm side was warm enough for "
        "digestion, by the limits of the care profile, which are settings and not published limits."
    ),
    "Rodents and reptiles carry Salmonella: wash hands.",
)
MOST_PLOTS = 12
"""So many meals are plotted, the newest; the others are told of in words and ribbons."""
_RIBBON = RibbonSize(width=WIDTH, strip=17, letters=8.4, small=7.2)
_PLOT, _MASSES_HIGH = 190.0, 120.0

GatheredOf = Callable[[MealOnPaper], Gathered]
"""A meal's readings, gathered when its plot is drawn and let go after it."""


def write_paper(of: VetReport, gathered_of: GatheredOf, path: Path) -> None:
    """Write it to a .pdf file, whole or not at all. Raises Unusable, one line."""
    if path.suffix.lower() != ".pdf":
        raise Unusable(f"{path}: the paper is a PDF; name it .pdf")
    write_whole(path, paper(of, gathered_of))


def paper(of: VetReport, gathered_of: GatheredOf) -> bytes:
    """The paper's bytes: the same for the same report."""
    name = plain(of.animal.animal) or "An animal"
    made = local_time(of.now_ms, of.settings.zone)
    by = f"Warmcoil {version('warmcoil')}"
    with drawing():
        sheets = Sheets(f"{name}, {_period(of)}. Made by {by}; as of {made}.")
        sheets.title(f"{name}, for the vet")
        sheets.words(
            f"{_period(of)}. As of {made} ({of.settings.time_zone}), made by {by} from the "
            "keeper's records and the readings of the enclosure's probes.",
            soft=True,
        )
        _who(sheets, of)
        _signs(sheets, of)
        sheets.heading("What is not known")
        sheets.points(not_known(of))
        _meals(sheets, of)
        _plots(sheets, of, gathered_of)
        draw_temperatures(sheets, of)
        _body(sheets, of)
        _looks(sheets, of)
        sheets.heading("Cautions")
        sheets.points(CAUTIONS)
        about = About(f"{name}, for the vet", f"Records of {name}, {_period(of)}", by, of.now_ms)
        return sheets.pdf(about)


def _period(of: VetReport) -> str:
    zone = of.settings.zone
    first, last = (local_day_of(at, zone).year for at in (of.start_ms, of.end_ms - 1))
    start, end = local_day(of.start_ms, zone), local_day(of.end_ms - 1, zone)
    return f"{start} {first} to {end} {last}"


# ---- who, and what is for a vet ------------------------------------------------------------------


def _who(sheets: Sheets, of: VetReport) -> None:
    who, zone = of.animal, of.settings.zone
    born = f", born {who.born.isoformat()}" if who.born is not None else ""
    said = [
        plain(who.species) if who.species else "species not known",
        plain(who.sex) if who.sex else "sex not known",
        f"{years_or_months(of.age_months)}{born}",
    ]
    sheets.words(f"{'; '.join(said)}.", bold=True)
    for stay in of.stays:
        since, until = (
            local_time(at, zone) if at is not None else "" for at in (stay.since_ms, stay.until_ms)
        )
        sheets.words(f"Lives in {plain(stay.enclosure)} since {since}." if not until else
                     f"Lived in {plain(stay.enclosure)} from {since} to {until}.")  # fmt: skip
    sheets.words(_in_short(of))


def _in_short(of: VetReport) -> str:
    reviews = [one.review for one in of.meals]
    if not of.offers:
        return "No prey was offered in this period, as far as the book knows."
    back = sum(one.outcome is not None and one.outcome.came_back for one in reviews)
    verdicts: dict[str, int] = {}
    for one in reviews:
        verdicts[one.verdict] = verdicts.get(one.verdict, 0) + 1
    judged = ", ".join(f"{verdict} {number}" for verdict, number in sorted(verdicts.items()))
    taken = "1 meal was" if len(reviews) == 1 else f"{len(reviews)} meals were"
    not_taken = refused(of)
    more = (
        "no offer was refused"
        if not not_taken
        else "one more was refused"
        if not_taken == 1
        else f"{count(not_taken)} more were refused"
    )
    said = f"{taken} taken, of which {count(back)} came back; {more}."
    return f"{said} Warm side after them: {judged}." if judged else said


def _signs(sheets: Sheets, of: VetReport) -> None:
    sheets.heading("What is for a vet")
    end = local_day(of.end_ms - 1, of.settings.zone)
    now = [f"{upper(one.says)}. [{one.basis}]" for one in of.condition.vet]
    now += [f"{upper(one.says)}. [{one.basis}]" for one in of.condition.signs if one.kind == "vet"]
    then = [
        f"With the meal of {local_day(one.review.taken_at_ms, of.settings.zone)} (number "
        f"{one.review.meal}): {sign.says}. [{sign.basis}]"
        for one in of.meals
        for sign in one.review.vet
    ]
    if now:
        sheets.words(f"As of {end}:")
        sheets.points(now)
    if then:
        sheets.words("In the period, each as it stood until the next meal:")
        sheets.points(then)
    if not now and not then:
        sheets.words(
            "None of the signs that are looked for is in the records: vomiting, mucus or blood, "
            "meals that come back in a row or although it was warm, a large loss of mass."
        )


# ---- meals ---------------------------------------------------------------------------------------


def _meals(sheets: Sheets, of: VetReport) -> None:
    sheets.heading("Meals")
    if not of.offers:
        sheets.words("No prey was offered in this period, as far as the book knows.")
        return
    sheets.words(
        "Each strip is the warm side after a meal, from left to right in days. Where it was warm "
        "enough it is level and pale; below the floor its top edge sinks and it is darker; above "
        "the hot limit it rises. Dots: no readings.",
        soft=True,
    )
    taken = {one.record.meal: one for one in of.meals}
    for offer in of.offers:
        one = taken.get(offer.meal)
        sentence = f"{offer.meal}. {meal_sentence(offer, of.settings)}"
        if one is None:
            sheets.words(f"{sentence}.")
        else:
            _meal(sheets, sentence, one)


def _meal(sheets: Sheets, sentence: str, one: MealOnPaper) -> None:
    size = RibbonSize(
        _RIBBON.width, _RIBBON.strip, _RIBBON.letters, _RIBBON.small,
        scale_days=max(SCALE_DAYS, -(-one.ribbon.length_d // 1)),
    )  # fmt: skip
    layout = laid_out(one.ribbon, size)
    sheets.need(layout.height + 5 * BODY)
    sheets.words(f"{sentence}. {verdict_words.verdict_sentence(one.review)}")

    def draw(sheet: Sheet, top: float) -> None:
        draw_ribbon(sheet, layout, size, MARGIN, top)

    sheets.put(layout.height + 0.8 * BODY, draw)


def _plots(sheets: Sheets, of: VetReport, gathered_of: GatheredOf) -> None:
    """Meals that came back or were too cool or too hot, each with its plot; the newest first."""
    wanted = [one for one in of.meals if _stands_out(one)][::-1]
    if not wanted:
        return
    sheets.heading("Meals that came back, or were too cool or too hot", room=_PLOT + 8 * BODY)
    for one in wanted[:MOST_PLOTS]:
        _plot(sheets, one, of, gathered_of)
    for one in wanted[MOST_PLOTS:]:
        _told(sheets, one, of)
    if len(wanted) > MOST_PLOTS:
        sheets.words(
            f"The newest {MOST_PLOTS} of these {len(wanted)} meals are plotted; any other: "
            "warmcoil plot NUMBER -o FILE."
        )


def _stands_out(one: MealOnPaper) -> bool:
    outcome = one.review.outcome
    back = outcome is not None and outcome.came_back
    return back or one.review.verdict in ("too cool", "too hot")


def _plot(sheets: Sheets, one: MealOnPaper, of: VetReport, gathered_of: GatheredOf) -> None:
    sheets.need(_PLOT + 6 * BODY)
    _headline(sheets, one, of)

    def draw(sheet: Sheet, top: float) -> None:
        gathered = gathered_of(one)
        where = circumstances(gathered, of.settings)
        sheet.write(MARGIN, top + BODY, f"{upper(where)}.", BODY)
        box = Box(MARGIN, top + 1.8 * BODY, WIDTH, _PLOT - 2.4 * BODY, SMALL)
        draw_climate(sheet, meal_climate(gathered, of.care), of.settings, box)

    sheets.put(_PLOT, draw)
    _words_of(sheets, one, of)


def _told(sheets: Sheets, one: MealOnPaper, of: VetReport) -> None:
    _headline(sheets, one, of)
    _words_of(sheets, one, of)


def _headline(sheets: Sheets, one: MealOnPaper, of: VetReport) -> None:
    sentence = meal_sentence(one.record, of.settings)
    end = f": {one.ribbon.ending}" if one.ribbon.ending else ""
    sheets.small_heading(f"{one.record.meal}. {sentence}{end}")


def _words_of(sheets: Sheets, one: MealOnPaper, of: VetReport) -> None:
    review = one.review
    sheets.words(
        " ".join([
            verdict_words.verdict_sentence(review),
            *verdict_words.reason_sentences(review),
            verdict_words.known_sentence(review, of.settings),
            verdict_words.digestion_sentence(review, of.settings),
        ])
    )  # fmt: skip
    if one.record.signs is not None:
        sheets.words(f"Seen in what came back: {one.record.signs}.")
    if one.record.notes:
        sheets.words(f"The keeper's note: “{plain(one.record.notes)}”")
    for heading, lines in one.told:
        if heading not in _TOLD_ELSEWHERE:
            sheets.words(f"{heading}:", bold=True)
            sheets.points(lines)
    sheets.space(BODY)


_TOLD_ELSEWHERE = frozenset({"See a vet", "Ordinary"})


# ---- the animal ----------------------------------------------------------------------------------


def _body(sheets: Sheets, of: VetReport) -> None:
    sheets.heading("Weight and condition", room=_MASSES_HIGH)
    if len(of.masses) > 1:
        sheets.words("Mass; a ring was weighed with a meal inside, a dot without.", soft=True)

        def draw(sheet: Sheet, top: float) -> None:
            draw_masses(sheet, top, _MASSES_HIGH, of.masses, of.settings)

        sheets.put(_MASSES_HIGH, draw)
    sheets.points(condition_words.sentences(of.condition, of.settings))
    if of.weighings:
        rows = [
            [
                local_time(one.at_ms, of.settings.zone),
                mass(one.mass_g, of.settings),
                body_length(one.length_cm, of.settings) if one.length_cm is not None else "",
                width(one.midbody_mm, of.settings) if one.midbody_mm is not None else "",
            ]
            for one in of.weighings
        ]
        heads = [("Weighed", 1.6), ("Mass", 1.0), ("Length", 1.0), ("Width at mid-body", 1.2)]
        sheets.table([Column(head, share) for head, share in heads], rows)


def _looks(sheets: Sheets, of: VetReport) -> None:
    parts: list[tuple[str, Sequence[Record]]] = [
        ("Sheds", of.sheds), ("Droppings", of.droppings),
        ("Looks at its body", of.looks), ("Handling", of.handlings),
    ]  # fmt: skip
    sheets.heading("What else was written down")
    for name, records in parts:
        if not records:
            sheets.words(f"{name}: nothing written down in this period.")
            continue
        entries = "1 entry" if len(records) == 1 else f"{count(len(records))} entries"
        sheets.small_heading(f"{name}: {entries}")
        sheets.points([f"{upper(_without_name(one, of))}." for one in records])


def _without_name(one: Record, of: VetReport) -> str:
    """The record in words; the whole paper is of one animal, so its name is left out."""
    said, name = record_words(one, of.settings, of.now_ms), plain(of.animal.animal)
    return said.replace(f" of {name}, ", ", ", 1).removeprefix(f"{name}, ")
