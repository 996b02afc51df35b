"""Wrong entries: refused or questioned in one line, exit code 2, nothing changed."""

from __future__ import annotations

import pytest

from tests.analysis.cli.writing.keeper import Keeper, at

QUESTIONED = [
    ("weigh 18000g", "18,000 g is 10 times the 1,800 g of Sun 1 Mar 2026, 12:00: a nought"),
    ("weigh 180g", "180 g is one 10th of the 1,800 g"),
    ("weigh 1.8g", "g for kg"),
    ("weigh 64g", "oz for g"),  # 64 oz is 1814 g
    ("weigh 2800", "2,800 g is 1.6 times"),
    ("weigh --length 71", "71 cm is 39 % of the 180 cm"),
    ("weigh --midbody 4.1", "mm for cm"),
    ("meal --prey rat --mass 1200", "a meal of 1,200 g is 67 % of the body (1,800 g)"),
    ("meal --prey rat --mass 2200", "a nought or the point"),
    ("meal --prey rat --mass 220 --count 6", "a meal of 1,320 g is 73 %"),
    ("meal --prey rat --mass 220 --width 84mm", "84 mm wide is 2.0 times the snake at mid-body"),
    ("meal --prey rat --mass 8", "8 g is one 28th of the last rat (220 g): oz for g?"),
    ("meal --prey rat --mass 220 --surface 2C", "a surface of 2.0 °C: °C or °F?"),
    ("meal --prey rat --offered 2026-02-21 6:00", "meal 1 was taken 11 h before"),
    ("meal --prey rat --offered 2026-02-26 20:00", "in shed since Wed 25 Feb 2026, 09:00"),
    ("meal --prey rat --offered 2023-12-31 20:00", "was in no enclosure then"),
    ("meal --offered 2026-03-02 20:00 --taken 20:00", "taken 6 days after it was offered"),
    ("meal 1 --outcome regurgitated --when 2026-03-08 9:00", "came back 15 days after"),
    ("meal 1 --refused", "meal 1 is down as taken Fri 20 Feb 2026, 19:00"),
    ("handle --minutes 24h", "25 h of handling within 24 h"),
    ("handle --minutes 3.5h", "5 h of handling within 24 h"),
    ("shed --when 2026-02-25 10:00", "a shed skin was found on Sat 28 Feb 2026, 09:00 already"),
    ("place p9 shelf warm", "no probe 'p9' is in the settings or was ever heard"),
]
REFUSED = [
    ("meal --offered 2026-03-09 20:00", "Mon 9 Mar 2026, 20:00 is still to come"),
    ("meal --offered 2026-03-08 20:42", "is still to come"),
    ("weigh 1800 --when 2026-03-09 8:00", "is still to come"),
    ("handle --when 2026-03-08 20:42", "is still to come"),
    ("move Ombra tub --since 2026-03-09", "is still to come"),
    ("meal 1 --outcome kept --when 2026-02-20 18:00", "outcome_at: is before taken_at"),
    ("meal 1 --outcome kept --when 2026-03-09 9:00", "is still to come"),
    ("meal 1 --removed 2026-02-19 9:00", "removed_at: is before offered_at"),
    ("meal --offered 20:00 --taken 19:00", "taken_at: is before offered_at"),
    ("meal --outcome kept", "the meal is not down as taken; say when it was: --taken TIME"),
    ("meal --refused --outcome kept", "contradict one another"),
    ("meal --when 20:00", "--when goes with --outcome"),
    ("meal --unknown colour", "is none of: prey, count"),
    ("meal --offered 2026-02-20 18:50", "the book has that already: meal 1"),
    ("meal --mass 220C", "--mass: 'C' is no unit of a mass; write 220g or 7.8oz"),
    ("meal --mass heavy", "--mass: 'heavy' is not a mass"),
    ("meal --mass 0", "0.0 g cannot be; it is more than 0"),
    ("meal --mass=-3g", "-3.0 g cannot be"),
    ("meal --width 40g", "--width: 'g' is no unit of a width; write 41mm, 4.1cm or 1.6in"),
    ("meal --surface 100", "100.0 °C cannot be"),
    ("meal --surface 38g", "'g' is no unit of a temperature; write 38C or 100F"),
    ("meal --offered soon", "--offered: 'soon' is not a time"),
    ("meal --offered yesterday", "at what time?"),
    ("meal --offered 2026-02-30 20:00", "is no day that exists"),
    ("weigh 1,830g", "can be read two ways; write 1830 or 1.830"),
    ("weigh 1830C", "'C' is no unit of a mass"),
    ("weigh", "nothing was measured"),
    ("weigh Ombra 1800 g", "put quotes around a name"),
    ("look", "nothing was looked at"),
    ("handle --minutes many", "--minutes: 'many' is not a time in minutes"),
    ("new enclosure shelf", "the book has enclosure shelf already"),
    ("new animal Ombra", "already; to change it add --change"),
    ("new animal Pip --born 2027-01-01", "is in the future"),
    ("new animal Pip --born May", "--born: 'May' is not a day"),
    ("new animal Pip --since 2026-01-01", "--since goes with --in"),
    ("place p1", "where does it lie?"),
]


@pytest.fixture
def lived(keeper: Keeper) -> Keeper:
    """A keeper whose animal weighs 1,800 g and has eaten."""
    keeper.now_ms = at("2026-03-08 20:31")
    keeper.does("new enclosure tub")
    keeper.does("weigh 1800g --length 180cm --midbody 41mm --when 2026-03-01 12:00")
    keeper.does("weigh 1790g --when 2026-02-01 12:00")
    keeper.does("meal --prey rat --mass 220 --offered 2026-02-20 18:50 --taken 2026-02-20 19:00")
    keeper.does("shed --in-shed --when 2026-02-25 9:00")
    keeper.does("shed --when 2026-02-28 9:00")
    keeper.does("handle --minutes 90 --when 9:00")
    return keeper


@pytest.mark.parametrize(("line", "why"), QUESTIONED, ids=[line for line, _ in QUESTIONED])
def test_odd_entries_are_questioned_and_can_be_insisted_on(
    lived: Keeper, line: str, why: str
) -> None:
    said = lived.fails(line)
    assert why in said
    assert said.endswith("othing was entered: if it is right, add --sure")
    before = lived.dump()
    lived.does(f"{line} --sure")
    assert lived.dump() != before


@pytest.mark.parametrize(("line", "why"), REFUSED, ids=[line for line, _ in REFUSED])
def test_entries_that_cannot_be_are_refused_also_when_insisted_on(
    lived: Keeper, line: str, why: str
) -> None:
    assert why in lived.fails(line)
    if not line.startswith(("new", "look")):
        assert why in lived.fails(f"{line} --sure")


def test_a_clock_that_is_a_little_fast_is_forgiven(lived: Keeper) -> None:
    lived.does("weigh 1800 --when 2026-03-08 20:40")


def test_an_insisted_oddity_is_not_asked_about_again(lived: Keeper) -> None:
    lived.does("meal --prey rat --mass 1200 --sure --offered 20:00")
    lived.does("meal 2 --taken 20:05")
    assert "1,300 g is 72 %" in lived.fails("meal 2 --mass 1300")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        # Lisbon, from the IANA time zone database: forward at 01:00 on 29 March 2026, back at
        # 02:00 on 25 October 2026.
        ("weigh 1800 --when 2026-03-29 01:30", "the clocks went from 01:00 to 02:00"),
        ("weigh 1800 --when 01:30", "there was no 01:30 on Sun 29 Mar"),
    ],
)  # fmt: skip
def test_a_time_that_a_clock_change_skipped_is_refused(lived: Keeper, line: str, said: str) -> None:
    lived.now_ms = at("2026-03-29 09:00")
    assert said in lived.fails(line)


def test_of_a_time_that_came_twice_the_earlier_is_taken_and_said(lived: Keeper) -> None:
    lived.now_ms = at("2026-10-25 09:00")
    said = lived.does("handle --when 01:30").splitlines()
    assert said[1] == (
        "01:30 came twice on Sun 25 Oct, the earlier was taken; "
        "the later is 2026-10-25T01:30:00+00:00."
    )
    lived.does("handle --when 2026-10-25T01:30:00+00:00")
    with lived.book() as book:
        first, second = book.handlings()[-2:]
    assert second.at_ms - first.at_ms == 3_600_000


def test_a_time_still_to_come_today_is_yesterdays_and_that_is_said(lived: Keeper) -> None:
    said = lived.does("weigh 1800 --when 21:30")
    assert said.splitlines() == [
        "Weighing of Ombra, yesterday 21:30: mass 1,800 g.",
        "21:30 is still to come today, so yesterday's was taken.",
    ]
