"""The next meal in a keeper's words."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from analysis import words
from analysis.condition_words import CAUTION
from analysis.fit_today import Fit
from analysis.meal_words import article
from analysis.next_meal import NextMeal
from analysis.portion import Portion
from analysis.waits import Wait
from config.settings import Settings


def sentences(of: NextMeal, settings: Settings) -> list[str]:
    """One sentence that says it all, then each rule, the meal, what to ask and to mind."""
    return [
        headline(of, settings),
        *_vet(of),
        *(wait_line(wait, of.today) for wait in of.waits),
        *portion_lines(of.portion, settings),
        *of.notes.ask,
        *of.notes.mind,
        *([CAUTION] if of.vet else []),
    ]


def headline(of: NextMeal, settings: Settings) -> str:
    """When, why not yet, what, and whether the enclosure is fit today."""
    return f"{words.plain(of.animal)}: {proposal(of, settings)}."


def proposal(of: NextMeal, settings: Settings) -> str:
    """The same without the animal's name."""
    joint = ", then " if of.open_ended or of.not_before > of.today else ": "
    return f"{when(of)}{joint}{what(of, settings)}; {fit(of.fit)}"


def when(of: NextMeal) -> str:
    """The day in words, without the animal's name."""
    rules = {wait.rule for wait in of.open_ended}
    seen = f"see a vet ({of.vet[0]}); " if of.vet and "vet" not in rules else ""
    after = f", and not before {_day(of.not_before, of)}" if of.not_before > of.today else ""
    if "vet" in rules:
        return f"no meal before a vet has seen it ({of.vet[0]}){after}"
    if "shed" in rules:
        return f"{seen}in shed, no meal until the skin is off{after}"
    if of.not_before > of.today:
        return f"{seen}not before {_day(of.not_before, of)} ({_brief(of.holding[0])})"
    return seen + _today(of)


def _today(of: NextMeal) -> str:
    if of.fit.fit is False:
        return "no meal today, the enclosure is not fit; once it is"
    if of.last_meal is None:
        return "no meal in the book yet, and nothing speaks against one today"
    if of.due is not None and of.due < of.today:
        return f"a meal is due since {_day(of.due, of)}"
    by = f", by {_day(of.due, of)} at the latest" if of.due is not None else ""
    return f"a meal may be given today{by}"


def wait_line(of: Wait, today: date) -> str:
    """One rule: its day, its reason, its source."""
    why = f"{of.why[:1].upper()}{of.why[1:]}"
    if of.until is None:
        day = "no day yet"
    else:
        day = ("from " if of.until > today else "since ") + words.named_day(of.until, today)
    return f"{day}: {why}. [{author(of.basis)}]"


def what(of: NextMeal, settings: Settings) -> str:
    """What to offer: kind, mass, width."""
    half = words.mass(of.at_most_g, settings) if of.at_most_g is not None else None
    if of.portion is None:
        most = f"no more than {half}" if half is not None else "how much is not known"
        return f"{most} (weigh it first: no weighing in the last 90 days)"
    size = words.mass_span(of.portion.low_g, of.portion.high_g, settings)
    text = f"{kinds(of.portion.kinds)} of {size}"
    if of.portion.halved:
        text += ", half the usual size"
    if of.portion.rather is not None:
        text += f", rather the {of.portion.rather} end of it ({of.state})"
    if of.portion.width_mm is not None:
        text += f", at most {words.length_at_most(of.portion.width_mm, settings)} wide"
    return text


def kinds(names: tuple[str, ...]) -> str:
    """ "a weaned or young rat"; where no kind is sold in that size, one item of it."""
    if not names:
        return "one item (no kind in the prey table weighs that)"
    nouns = {name.rsplit(" ", 1)[-1] for name in names}
    if len(names) > 1 and len(nouns) == 1:
        heads = [name.rsplit(" ", 1)[0] for name in names]
        text = f"{' or '.join(heads)} {nouns.pop()}"
    else:
        text = " or ".join(f"{article(name)} {name}" if i else name for i, name in enumerate(names))
    return f"{article(text)} {text}"


def fit(of: Fit) -> str:
    """Whether the enclosure is fit for a meal today."""
    why = "; ".join(of.reasons)
    if of.fit is None:
        return f"enclosure fit today: not known ({why}), look for yourself"
    return "enclosure fit today: yes" if of.fit else f"enclosure fit today: no ({why})"


def portion_lines(of: Portion | None, settings: Settings) -> Iterator[str]:
    """Where the size comes from, and what is in it."""
    if of is None:
        return
    body = words.mass(of.body_g, settings)
    day = words.local_day(of.body_at_ms, settings.zone)
    sources = "; ".join(map(author, of.basis))
    yield f"Size for {body}, weighed on {day}. [{sources}]"
    if of.low_kcal is None or of.high_kcal is None:
        yield "Energy: not known for that prey."
        return
    low, high = (words.energy(value) for value in (of.low_kcal, of.high_kcal))
    energy = high if low == high else f"{low} to {high}"
    sources = "; ".join(dict.fromkeys(map(author, of.energy_basis)))
    yield f"Energy: about {energy} kcal as fed. [{sources}]"


def _vet(of: NextMeal) -> Iterator[str]:
    told = {wait.why for wait in of.waits}
    yield from (f"See a vet: {why}." for why in of.vet if why not in told)


def _brief(of: Wait) -> str:
    """The reason without what was not known of it, which its own line says."""
    return of.why.partition(" (")[0]


def _day(day: date, of: NextMeal) -> str:
    return words.named_day(day, of.today)


def author(basis: str) -> str:
    """Who says so, without what it says, but with how far to trust it."""
    head = basis.split(": ", maxsplit=1)[0]
    for added in (" (from memory)", " (our own choice)", " (derived)"):
        if basis.endswith(added) and not head.endswith(added):
            return head + added
    return head
