"""An invented book of many animals and some years, seeded: as commands, and as CSV files.

Every record is told twice, once in a keeper's words and units, once as the files write it. What is
entered wrong by command is corrected, taken back or removed again; the files have the truth only.
"""

from __future__ import annotations

import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Lisbon")
FIRST = datetime(2023, 1, 2, 18, 0)  # noqa: DTZ001  # local, as a keeper writes it
GRAMS_PER_OUNCE = 453.59237 / 16  # yard and pound agreement of 1959
HEADERS = {
    "enclosures": "enclosure,room,notes",
    "animals": "animal,species,sex,born,enclosure,since",
    "placements": "probe,enclosure,zone,since,until",
    "meals": "animal,offered_at,taken_at,removed_at,prey,prey_count,prey_mass_g,prey_width_mm,"
    "prey_surface_c,prey_state,fed_in,outcome,outcome_at,notes,signs",
    "weights": "animal,time,mass_g,length_cm,midbody_mm",
    "handling": "animal,time,minutes,reason",
    "sheds": "animal,time,stage,notes",
    "looks": "animal,time,spine,ribs,skin,tail,vent,neck,notes",
    "droppings": "animal,time,urate,signs,notes",
}


@dataclass
class Told:
    """The same book twice: commands in the order of time, and the rows of each file."""

    commands: list[tuple[datetime, list[str]]] = field(default_factory=list)
    rows: dict[str, list[tuple[datetime, str]]] = field(default_factory=lambda: defaultdict(list))
    meals: int = 0

    def command(self, when: datetime, *words: str) -> None:
        """One more command, typed about then."""
        self.commands.append((when, list(words)))

    def row(self, kind: str, when: datetime, *fields: object) -> None:
        """One more row of a file."""
        self.rows[kind].append((when, ",".join("" if f is None else str(f) for f in fields)))

    def csv(self, kind: str) -> str:
        """A whole file, in the order of time."""
        rows = [row for _, row in sorted(self.rows[kind], key=lambda one: one[0])]
        return "\n".join([HEADERS[kind], *rows]) + "\n"


def file_time(when: datetime) -> str:
    """As a file writes it, with the offset of that day."""
    return when.replace(tzinfo=ZONE).isoformat()


def typed(when: datetime) -> list[str]:
    """As a keeper types it."""
    return f"{when:%Y-%m-%d %H:%M}".split()


def invent(seed: int, *, animals: int, days: int, every_days: int) -> Told:
    """A book of so many animals over so many days, each fed about every so many days."""
    dice, told = random.Random(seed), Told()
    tubs = [f"tub {n}" for n in range(animals)] + ["spare"]
    for tub in tubs:
        told.command(FIRST - timedelta(9), "new", "enclosure", tub, "--room", "cellar")
        told.row("enclosures", FIRST, tub, "cellar", None)
    lives = [_Life(f"snake {n}", tubs[n], dice, told, days, every_days) for n in range(animals)]
    for n, life in enumerate(lives):
        life.begin(f"p{n}", moves=n % 4 == 0)
        life.weigh()
        life.handle_and_shed()
    _feed_all(lives, told)
    told.commands.sort(key=lambda one: one[0])
    return told


@dataclass
class _Life:
    name: str
    tub: str
    dice: random.Random
    told: Told
    days: int
    every_days: int

    def day(self, number: int, hour: int) -> datetime:
        """That day, at that hour and some minute: never in a night of a clock change."""
        return FIRST.replace(hour=hour, minute=self.dice.randrange(60)) + timedelta(number)

    def mass_g(self, number: int) -> int:
        return 800 + number + 10 * (len(self.name) + int(self.name.split()[1]))

    def begin(self, probe: str, *, moves: bool) -> None:
        told, since = self.told, FIRST - timedelta(5)
        told.command(
            since, "new", "animal", self.name, "--species", "Boa imperator", "--sex", "female",
            "--born", "2020-05-30", "--in", self.tub, "--since", *typed(since),
        )  # fmt: skip
        who = (self.name, "Boa imperator", "female", "2020-05-30")
        told.row("animals", since, *who, self.tub, file_time(since))
        told.command(since, "place", probe, self.tub, "warm", "--since", *typed(since))
        told.row("placements", since, probe, self.tub, "warm side", file_time(since), None)
        if moves:
            self._move_there_and_back(who, probe)

    def _move_there_and_back(self, who: tuple[str, ...], probe: str) -> None:
        """To the spare tub for a month, its probe with it; entered a day late at first."""
        number = 300 + 40 * int(self.name.split()[1])
        told, out, back = self.told, self.day(number, 12), self.day(number + 30, 12)
        told.command(out, "move", self.name, "spare", "--since", *typed(out + timedelta(1)))
        told.command(out, "move", self.name, "spare", "--correct", "--since", *typed(out))
        told.command(out, "place", probe, "spare", "warm side", "--since", *typed(out))
        told.command(back, "move", self.name, self.tub, "--since", *typed(back))
        told.command(back, "place", probe, "--out", *typed(back))
        told.command(back, "place", probe, self.tub, "warm", "--since", *typed(back))
        told.row("animals", out, *who, "spare", file_time(out))
        told.row("animals", back, *who, self.tub, file_time(back))
        told.row("placements", out, probe, "spare", "warm side", file_time(out), file_time(back))
        told.row("placements", back, probe, self.tub, "warm side", file_time(back), None)

    def weigh(self) -> None:
        for number in range(1, self.days, 88):
            when, mass_g = self.day(number, 10), float(self.mass_g(number))
            words = [f"{mass_g:.0f}g"]
            if self.dice.random() < 0.3:
                ounces = round(mass_g / GRAMS_PER_OUNCE, 1)
                words, mass_g = [f"{ounces}oz"], round(ounces * GRAMS_PER_OUNCE, 4)
            if self.dice.random() < 0.3:
                words += ["--length", "1,80m", "--midbody", "4.1cm"]
                rest: tuple[object, ...] = (180.0, 41.0)
            else:
                rest = (None, None)
            self._with_a_slip(when, words, mass_g)
            self.told.row("weights", when, self.name, file_time(when), mass_g, *rest)

    def _with_a_slip(self, when: datetime, words: list[str], mass_g: float) -> None:
        """Now and then entered wrong first, and corrected, undone, or removed and entered again."""
        told, wrong = self.told, f"{mass_g + 7:.1f}g"
        more, kind = words[1:], self.dice.randrange(8)
        if kind == 0:
            told.command(when, "weigh", self.name, wrong, *more, "--when", *typed(when))
            told.command(when, "weigh", self.name, words[0], "--correct", *typed(when))
            return
        if kind == 1:
            told.command(when, "weigh", self.name, wrong, "--when", *typed(when))
            told.command(when, "undo")
        if kind == 2:
            told.command(when, "weigh", self.name, wrong, "--when", *typed(when))
            told.command(when, "remove", "weighing", self.name, "--when", *typed(when))
        told.command(when, "weigh", self.name, *words, "--when", *typed(when))

    def handle_and_shed(self) -> None:
        told = self.told
        for number in range(20, self.days - 10, 360):
            when = self.day(number, 11)
            told.command(
                when, "handle", self.name, "--minutes", "10min", "--reason", "weighed",
                "--when", *typed(when),
            )  # fmt: skip
            told.row("handling", when, self.name, file_time(when), 10.0, "weighed")
            dull, skin = self.day(number + 3, 9), self.day(number + 9, 9)
            told.command(dull, "shed", self.name, "--in-shed", "--when", *typed(dull))
            told.row("sheds", dull, self.name, file_time(dull), "in shed", None)
            told.command(skin, "shed", self.name, "--note", "whole", "--when", *typed(skin))
            told.row("sheds", skin, self.name, file_time(skin), "shed", "whole")
            told.command(
                skin, "look", self.name, "--spine", "felt", "--neck", "stepped",
                "--when", *typed(skin),
            )  # fmt: skip
            seen = ("felt", None, None, None, None, "stepped", None)
            told.row("looks", skin, self.name, file_time(skin), *seen)
            told.command(skin, "droppings", self.name, "--urate", "white", "--when", *typed(skin))
            told.row("droppings", skin, self.name, file_time(skin), "white", None, None)

    def feeding_days(self) -> list[int]:
        """Not while in shed."""
        last = range(2 + int(self.name.split()[1]) % 7, self.days - 16, self.every_days)
        return [n for n in last if not 0 <= (n - 23) % 360 <= 7]


def _feed_all(lives: list[_Life], told: Told) -> None:
    """All meals in the order of time, so that both ways give them the same numbers."""
    offers = sorted(
        ((life.day(number, 19), life, number) for life in lives for number in life.feeding_days()),
        key=lambda one: one[0],
    )
    for when, life, number in offers:
        told.meals += 1
        _feed(life, told, told.meals, when, number)


def _feed(life: _Life, told: Told, meal: int, offered: datetime, number: int) -> None:
    dice, name = life.dice, life.name
    mass, taken = round(life.mass_g(number) * 0.1), offered + timedelta(minutes=dice.randrange(29))
    end = offered + timedelta(days=dice.randint(8, 13), hours=-9)
    outcome = dice.choices(["passed", "kept", "regurgitated", "refused", None], [12, 3, 2, 2, 1])[0]
    prey = ("rat", 1, float(mass), 40.64, 37.7778, "thawed", "enclosure")
    words = ["meal", name, "--prey", "rat", "--count", "1", "--mass", f"{mass}g", "--width",
             "1.6in", "--surface", "100F", "--state", "thawed", "--in", "enclosure",
             "--offered", *typed(offered)]  # fmt: skip
    if dice.random() < 0.2:  # the mass was not weighed: unknown, not as last time
        prey = ("rat", 1, None, None, 37.7778, "thawed", "enclosure")  # type: ignore[assignment]
        for option in ("--mass", "--width"):
            place = words.index(option)
            words[place : place + 2] = ["--unknown", option.removeprefix("--")]
    told.command(offered, *words)
    times: list[object] = [file_time(offered), file_time(taken), None]
    ended: list[object] = [outcome, file_time(end), None, None]
    if outcome == "refused":
        away = offered + timedelta(minutes=40)
        told.command(away, "meal", str(meal), "--removed", *typed(away))
        times, ended = [file_time(offered), None, file_time(away)], ["refused", file_time(away)]
        ended += [None, None]
    else:
        told.command(taken, "meal", str(meal), "--taken", *typed(taken))
        _end(told, meal, outcome, end, ended)
    told.row("meals", offered, name, *times, *prey, *ended)


def _end(told: Told, meal: int, outcome: str | None, end: datetime, ended: list[object]) -> None:
    """What became of it; once in a while said wrong first."""
    number = str(meal)
    if outcome is None:
        ended[1] = None
        return
    signs = ["--signs", "none"] if outcome == "regurgitated" else []
    ended[3] = "none" if signs else None
    if meal % 11 == 0:
        told.command(end, "meal", number, "--outcome", "kept", "--when", *typed(end))
    told.command(end, "meal", number, "--outcome", outcome, *signs, "--when", *typed(end))
    if meal % 13 == 0:
        told.command(end, "meal", number, "--note", "wrong meal")
        told.command(end, "undo")
