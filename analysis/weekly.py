"""`python -m analysis.weekly --home DIR --due MS --now MS`: the week's review of all meals, as one
message. In a process of its own, which ends: reading a season of lines takes numpy and pandas.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from analysis.review import Review, review_all
from analysis.verdict import NO_PROBE, Verdict
from analysis.watch.jobs_process import Told, run_job
from analysis.words import DAY_MS, local_day, plain
from collector.book.book import Book
from collector.store.opening import open_reader
from config.care import load_care_profile
from config.home import Home
from config.settings import Settings, load_settings

_WEEK_MS = 7 * DAY_MS
_MOST_LISTED = 10
_TIME_LIMIT_SECONDS = 1800
_GOOD: Verdict = "warm enough"
_VERDICTS: tuple[Verdict, ...] = (
    _GOOD, "cool", "too cool", "too hot", "not enough readings", NO_PROBE
)  # fmt: skip
_CANNOT_TELL = (
    "The warm side is the warmest the animal can have been: that it was warm enough says nothing "
    "about where the animal lay. All meals: warmcoil review"
)


def weekly_review(home: Home, due_ms: int, now_ms: int) -> Told | None:  # noqa: ARG001  # as jobs are called
    """Judge every meal of the book; what the keeper is told. None while nothing was eaten."""
    settings = load_settings(home)
    care = load_care_profile(settings.care.profile, home.folder / "care")
    if not home.book.exists():
        return None
    with (
        Book(home.book, read_only=True) as book,
        open_reader(home, settings) as reader,
    ):
        reviews = review_all(book, reader, care, settings, now_ms)
    return told_of(reviews, settings, now_ms) if reviews else None


def told_of(reviews: Sequence[Review], settings: Settings, now_ms: int) -> Told:
    """The message about these reviews. A meal counts to the week its window reaches into."""
    lately = [one for one in reviews if one.window.end_ms > now_ms - _WEEK_MS]
    look = [one for one in lately if needs_a_look(one)]
    if not lately:
        title = "Meals of the week: none"
    elif look:
        title = f"Meals of the week: {len(look)} of {len(lately)} to look at"
    else:
        title = f"Meals of the week: all {len(lately)} warm enough"
    lines = [
        f"Of the last 7 days: {_counted(lately)}.",
        *(_line(one, settings) for one in look[:_MOST_LISTED]),
        *_rest(look),
        f"Of all {len(reviews)} meals in the book: {_counted(reviews)}.",
        _CANNOT_TELL,
    ]
    return Told(title, tuple(lines))


def needs_a_look(one: Review) -> bool:
    """True for a meal that was not warm enough, cannot be judged, or came back."""
    came_back = one.outcome is not None and one.outcome.came_back
    return one.verdict != _GOOD or one.possible != _GOOD or came_back


def _counted(reviews: Sequence[Review]) -> str:
    counts = Counter(one.verdict for one in reviews)
    return ", ".join(f"{counts[v]} {v}" for v in _VERDICTS if counts[v]) or "no meal"


def _line(one: Review, settings: Settings) -> str:
    day = local_day(one.taken_at_ms, settings.zone)
    words: list[str] = [one.verdict]
    if one.possible != one.verdict:
        words.append(f"the gaps could hide: {one.possible}")
    if one.outcome is not None and one.outcome.came_back:
        words.append(one.outcome.value)
    return f"Meal {one.meal}, {plain(one.animal)}, {day}: {'; '.join(words)}."


def _rest(look: Sequence[Review]) -> Iterator[str]:
    if len(look) > _MOST_LISTED:
        yield f"And {len(look) - _MOST_LISTED} more."


if __name__ == "__main__":
    run_job("analysis.weekly", weekly_review, _TIME_LIMIT_SECONDS)
