"""CSV in and out: all rows or none, twice changes nothing, bad rows by line and field."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.book.book import Book
from collector.book.records import Signs
from collector.exchange import Imported, export_rows, import_file
from collector.readings import Flag, Quantity, SeriesKey
from collector.rfc3339 import parse, written
from collector.store.reader import Reader
from collector.store.sqlite_archive import SqliteArchive
from config.errors import Unusable, WarmcoilError
from config.settings import Settings

HEADERS = {
    "readings": "time,probe,quantity,value,unit",
    "enclosures": "enclosure,room,notes",
    "animals": "animal,species,sex,born,enclosure,since",
    "placements": "probe,enclosure,zone,since,until",
    "meals": "animal,offered_at,taken_at,removed_at,prey,prey_count,prey_mass_g,prey_width_mm,"
    "prey_surface_c,prey_state,fed_in,outcome,outcome_at,notes",
    "weights": "animal,time,mass_g,length_cm,midbody_mm",
    "handling": "animal,time,minutes,reason",
    "sheds": "animal,time,stage,notes",
    "looks": "animal,time,spine,ribs,skin,tail,vent,neck,notes",
    "droppings": "animal,time,urate,signs,notes",
    "calibrations": "probe,time,read_c,true_c,uncertainty_c,second_read_c,second_true_c,"
    "second_uncertainty_c,notes",
}
ROWS = {
    "enclosures": ["east tub,cellar,", '"shelf, left",,"says ""hello""\nand more"'],
    "animals": [
        "Juno,Boa constrictor,f,2021-05-30,east tub,2025-01-01T10:00:00+01:00",
        'Juno,,,,"shelf, left",2025-03-01T10:00:00+01:00',
        "Pip,,,,,",
    ],
    "placements": [
        "p1,east tub,warm side,2025-01-01T00:00:00+01:00,2025-02-01T00:00:00+01:00",
        'p1,"shelf, left",cool side,2025-02-01T00:00:00+01:00,',
    ],
    "meals": [
        (
            "Juno,2025-01-05T19:00:00+01:00,2025-01-05T19:10:00+01:00,,rat,2,110.5,31,38.2,thawed,"
            "enclosure,passed,2025-01-13T08:00:00+01:00,=1+1"
        ),
        "Juno,2025-01-19T19:00:00+01:00,,,rat,,,,,,,refused,,",
    ],
    "weights": ["Juno,2025-01-02T12:00:00+01:00,1500,141,38"],
    "handling": ["Juno,2025-01-03T12:00:00+01:00,10,weighed", "Juno,2025-01-04T12:00:00Z,,"],
    "sheds": ["Juno,2025-02-03T12:00:00Z,in shed,", "Juno,2025-02-12T12:00:00Z,shed,in one piece"],
    "looks": [
        "Juno,2025-02-03T12:00:00Z,felt,felt,smooth,tapering,flat,stepped,",
        "Juno,2025-03-03T12:00:00Z,sharp,,,,,,thin",
    ],
    "droppings": [
        "Juno,2025-02-03T12:00:00Z,white,none,",
        "Juno,2025-03-03T12:00:00Z,,mucus and blood,",
    ],
    "calibrations": [
        "p1,2025-02-03T12:00:00Z,0.25,0,0.08,,,,ice point",
        "p1,2025-02-03T13:00:00Z,0.25,0,0.08,37.4,37,0.12,",
    ],
}
"""In the order in which they must be imported."""


@dataclass
class Place:
    """A book and an archive in a folder."""

    folder: Path
    book: Book
    archive: SqliteArchive

    def take(self, kind: str, rows: list[str], header: str | None = None) -> Imported:
        """Import rows written to a file."""
        text = "\n".join([header if header is not None else HEADERS[kind], *rows]) + "\n"
        return self.take_bytes(kind, text.encode())

    def take_bytes(self, kind: str, content: bytes) -> Imported:
        """Import a file of these bytes."""
        file = self.folder / f"{kind}.csv"
        file.write_bytes(content)
        return import_file(kind, file, book=self.book, archive=self.archive, settings=Settings())

    def out(self, kind: str, zone: str = "UTC", **window: int) -> str:
        """The export of a kind."""
        stream = io.StringIO(newline="")
        with Reader(self.folder / "journal.db", self.folder / "archive.db") as reader:
            export_rows(
                kind, stream, book=self.book, reader=reader,
                settings=Settings(time_zone=zone), **window,
            )  # fmt: skip
        return stream.getvalue()


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    with (
        Book(tmp_path / "book.db") as book,
        closing(SqliteArchive(tmp_path / "archive.db")) as archive,
    ):
        yield Place(tmp_path, book, archive)


def fill(place: Place) -> None:
    for kind, rows in ROWS.items():
        place.take(kind, rows)


def test_every_kind_twice_changes_nothing(place: Place) -> None:
    for kind, rows in ROWS.items():
        assert place.take(kind, rows).same == 0
        again = place.take(kind, rows)
        assert (again.rows, again.added, again.changed) == (len(rows), 0, 0), kind
    assert place.book.animal("Juno").species == "Boa constrictor"
    assert [s.enclosure for s in place.book.stays("Juno")] == ["east tub", "shelf, left"]
    assert place.book.meals()[0].mass_g == 221.0


@pytest.mark.parametrize("zone", ["UTC", "Europe/Berlin", "Asia/Kathmandu"])
def test_an_export_goes_back_in_and_changes_nothing(place: Place, zone: str) -> None:
    fill(place)
    for kind in ROWS:
        text = place.out(kind, zone)
        again = place.take_bytes(kind, text.encode())
        assert (again.added, again.changed) == (0, 0), kind
        assert place.out(kind, zone) == text


def test_an_export_fills_an_empty_home_alike(place: Place, tmp_path: Path) -> None:
    fill(place)
    other = tmp_path / "other"
    other.mkdir()
    with Book(other / "book.db") as book, closing(SqliteArchive(other / "archive.db")) as archive:
        twin = Place(other, book, archive)
        for kind in ROWS:
            twin.take_bytes(kind, place.out(kind).encode())
            assert twin.out(kind) == place.out(kind)


def test_a_later_file_corrects_and_the_version_before_is_kept(place: Place) -> None:
    fill(place)
    corrected = ROWS["weights"][0].replace("1500", "1510")
    assert place.take("weights", [corrected]).changed == 1
    assert place.book.weighings("Juno")[0].mass_g == 1510
    assert any('"mass_g": 1500' in str(c.before) or "1500" in str(c) for c in place.book.history())


BAD = [
    ("weights", "Juno,2025-01-02T12:00:00,1500,,", "line 3, time", "has no offset"),
    ("weights", "Juno,2025-02-30T12:00:00Z,1500,,", "line 3, time", "no time that exists"),
    ("weights", "Juno,yesterday,1500,,", "line 3, time", "is not a time"),
    ("weights", 'Juno,2025-01-03T12:00:00Z,"1,5",,', "line 3, mass_g", "decimal comma"),
    ("weights", "Juno,2025-01-03T12:00:00Z,nan,,", "line 3, mass_g", "is not a number"),
    ("weights", "Juno,2025-01-03T12:00:00Z,1_000,,", "line 3, mass_g", "is not a number"),
    ("weights", "Juno,2025-01-03T12:00:00Z,-4,,", "line 3, mass_g", ""),
    ("weights", "Nobody,2025-01-03T12:00:00Z,4,,", "line 3, animal", "Nobody"),
    ("weights", "Juno,2025-01-03T12:00:00Z,4", "line 3, the row", "has 3 fields"),
    ("meals", "Juno,,,,rat,,,,,,,,,", "line 3, offered_at", "is empty"),
    ("meals", "Juno,2025-01-05T19:00:00Z,,,,1.5,,,,,,,,", "line 3, prey_count", "whole number"),
    ("meals", "Juno,2025-01-05T19:00:00Z,,,,,,,,frozen,,,,", "line 3, prey_state", "thawed"),
    ("placements", "p2,east tub,sunny side,2025-01-01T00:00:00Z,", "line 3, zone", "warm side"),
    (
        "calibrations",
        "p1,2025-02-04T12:00:00Z,0.2,0,0.1,5.2,5,0.1,",
        "line 3, second_true_c",
        "10 °C",
    ),
    ("animals", "Juno,,,,east tub,", "line 3, since", "is empty"),
    ("readings", "2025-01-01T00:00:00Z,p1,temperature,30,F", "line 3, unit", "degF"),
    ("readings", "2025-01-01T00:00:00Z,p1,pressure,30,Cel", "line 3, quantity", "humidity"),
    ("readings", "2025-01-01T00:00:00Z,,temperature,30,Cel", "line 3, probe", "is empty"),
    ("readings", "2025-01-01T00:00:00Z,p1,temperature,,Cel", "line 3, value", "is empty"),
    ("readings", "2025-01-01 00:00,p1,temperature,30,Cel", "line 3, time", "no offset"),
    ("readings", "2025-01-01T00:00:61Z,p1,temperature,30,Cel", "line 3, time", ""),
    ("readings", "2925-01-01T00:00:00Z,p1,temperature,30,Cel", "line 3, time", "from now"),
]
GOOD = {**ROWS, "readings": ["2025-01-01T00:00:00Z,p1,temperature,30,Cel"]}


@pytest.mark.parametrize(("kind", "row", "where", "why"), BAD)
def test_a_bad_row_is_named_and_nothing_is_taken(
    place: Place, kind: str, row: str, where: str, why: str
) -> None:
    for before in ("enclosures", "animals"):
        place.take(before, ROWS[before])
    good = next(r for r in reversed(GOOD[kind]) if "\n" not in r)
    before_all = {name: place.out(name) for name in HEADERS}
    with pytest.raises(WarmcoilError) as caught:
        place.take(kind, [good, row])
    text = str(caught.value)
    assert where in text
    assert why in text
    assert "\n" not in text
    assert caught.value.exit_code == 2
    assert {name: place.out(name) for name in HEADERS} == before_all


RUBBISH = [
    (b"", "no header row"),
    (b"animal,time,mass_g,length_cm\nJuno,2025-01-01T00:00:00Z,1,1\n", "no column 'midbody_mm'"),
    (b"animal,time,mass_g,length_cm,midbody_mm,colour\n", "unknown column 'colour'"),
    (bytes(range(256)) * 40, ""),
    (b"animal,time,mass_g,length_cm,midbody_mm\n\xff\xfe,1,1,1,1\n", "not UTF-8"),
    (b"animal,time,mass_g,length_cm,midbody_mm\nJ\0no,1,1,1,1\n", ""),
    (
        b'animal,time,mass_g,length_cm,midbody_mm\n"Juno,1,1,1,1\n',
        "line 2: a field that does not end",
    ),
    (b"animal,time,mass_g,length_cm,midbody_mm\n" + b"x" * 300_000 + b",1,1,1,1\n", "131,072"),
]


@pytest.mark.parametrize(("content", "why"), RUBBISH)
def test_rubbish_is_one_line(place: Place, content: bytes, why: str) -> None:
    with pytest.raises(Unusable) as caught:
        place.take_bytes("weights", content)
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_is_one_line(place: Place) -> None:
    with pytest.raises(Unusable, match="cannot be read"):
        import_file(
            "weights", place.folder / "none.csv", book=place.book, archive=place.archive,
            settings=Settings(),
        )  # fmt: skip


def test_first_bad_rows_are_named_and_the_rest_counted(place: Place) -> None:
    fill(place)
    with pytest.raises(Unusable, match=r"line 2, time.*line 6, time.*and 4 more; nothing was"):
        place.take("weights", ["Juno,never,1,,"] * 9)


def test_a_bom_and_crlf_and_columns_in_another_order_are_fine(place: Place) -> None:
    fill(place)
    content = "\ufefftime,animal,midbody_mm,length_cm,mass_g\r\n2025-05-01T12:00:00Z,Juno,,,9\r\n"
    assert place.take_bytes("weights", content.encode()).added == 1


def test_readings_in_any_order_and_unit_with_doubles_and_faults(place: Place) -> None:
    done = place.take(
        "readings",
        [
            "2025-01-01T00:10:00Z,p1,temperature,86.9,degF",
            "2025-01-01T00:00:00Z,p1,temperature,304.15,K",
            "2025-01-01T00:05:00Z,p1,temperature,31.25,Cel",
            "2025-01-01T00:05:00Z,p1,temperature,31.25,Cel",
            "2025-01-01T00:05:00.000Z,p1,temperature,31.5,Cel",
            "2025-01-01T00:06:00Z,p1,temperature,85,Cel",
            "2025-01-01T00:07:00.250Z,p1,temperature,-127,Cel",
            "2025-01-01T00:07:00Z,p1,humidity,61.5,%RH",
        ],
    )
    assert (done.rows, done.added, done.differing, done.doubted) == (8, 6, 1, 2)
    start = parse("2025-01-01T00:00:00Z")
    columns = place.archive.columns(SeriesKey("p1", Quantity.TEMPERATURE), start, start + 3_600_000)
    assert [at - start for at in columns.at_ms] == [0, 300_000, 360_000, 420_250, 600_000]
    assert list(columns.values()) == pytest.approx([31, 31.25, 85, -127, 30.5], abs=1e-9)
    assert [Flag(f) for f in columns.flags] == [
        Flag.NONE, Flag.NONE, Flag.POWER_ON, Flag.DISCONNECTED, Flag.NONE,
    ]  # fmt: skip


def test_the_hour_that_comes_twice_is_two_hours(place: Place) -> None:
    """Europe/Berlin, 26 October 2025: 02:30 comes twice (IANA time zone database)."""
    rows = [f"2025-10-26T02:30:00+0{h}:00,p1,temperature,30,Cel" for h in (2, 1)]
    assert place.take("readings", rows).added == 2
    text = place.out("readings", "Europe/Berlin")
    assert "02:30:00+02:00" in text
    assert "02:30:00+01:00" in text


def test_an_export_window_is_half_open(place: Place) -> None:
    rows = [f"2025-01-01T00:0{m}:00Z,p1,temperature,3{m},Cel" for m in range(5)]
    place.take("readings", rows)
    start = parse("2025-01-01T00:01:00Z")
    text = place.out("readings", from_ms=start, to_ms=start + 120_000)
    assert [line.split(",")[3] for line in text.splitlines()[1:]] == ["31.0", "32.0"]


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(
            st.integers(min_value=0, max_value=1_700_000_000_000),
            st.sampled_from(["p1", "urn:dev:ow:28ff641f43b2c1d0"]),
            st.floats(min_value=-40, max_value=60, allow_nan=False),
        ),
        min_size=1,
        max_size=30,
    ),
    st.sampled_from(["UTC", "America/New_York", "Australia/Lord_Howe"]),
)
def test_readings_round_trip_exactly(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, str, float]], zone: str
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    lines = [f"{written(at)},{probe},temperature,{value!r},Cel" for at, probe, value in rows]
    with Book(folder / "book.db") as book, closing(SqliteArchive(folder / "archive.db")) as archive:
        place = Place(folder, book, archive)
        place.take("readings", lines)
        text = place.out("readings", zone)
        again = place.take_bytes("readings", text.encode())
        assert (again.added, again.differing) == (0, 0)
        assert place.out("readings", zone) == text
        kept = {(line.split(",")[1], parse(line.split(",")[0])) for line in text.splitlines()[1:]}
        assert kept == {(probe, at) for at, probe, _ in rows}


def test_a_file_of_meals_may_have_a_last_column_of_signs(place: Place) -> None:
    """A file without it stays as good as it was, and says nothing about signs."""
    for kind in ("enclosures", "animals"):
        place.take(kind, ROWS[kind])
    row = "Juno,,2025-01-05T19:00:00Z,,rat,1,150,,,,,regurgitated,2025-01-07T09:00:00Z,"
    assert place.take("meals", [f"{row},mucus"], HEADERS["meals"] + ",signs").added == 1
    assert place.take("meals", [row]).same == 1
    assert place.book.meals()[0].signs is Signs.MUCUS
    text = place.out("meals")
    assert text.splitlines()[0] == HEADERS["meals"] + ",signs"
    assert text.splitlines()[1].endswith(",mucus")
    with pytest.raises(Unusable, match="signs: 'green' is none of: none, mucus, blood"):
        place.take("meals", [f"{row},green"], HEADERS["meals"] + ",signs")
    with pytest.raises(Unusable, match="no column 'notes'"):
        place.take("meals", [], HEADERS["meals"].removesuffix(",notes"))


def test_odd_rows_are_taken_and_listed(place: Place) -> None:
    for kind in ("enclosures", "animals"):
        place.take(kind, ROWS[kind])
    rows = [f"Juno,2025-05-{d:02d}T12:00:00Z,{18000 if d == 9 else 1800},," for d in range(1, 29)]
    done = place.take("weights", rows)
    assert done.added == 28
    (said,) = done.second_look()
    assert said == (
        "worth a second look: line 10, mass_g: 18000 g is 10 times the 1800 g of "
        "2025-05-08T12:00:00+00:00: a nought or the point?"
    )
    assert place.take("weights", rows).odd == (), "what was there already is no news"
    pip = [f"Pip,,2025-02-{d:02d}T12:00:00Z,,,,,,,,,,," for d in range(1, 28, 2)]
    *named, rest = place.take("meals", pip).second_look()
    assert (len(named), rest) == (10, "and 4 more")
    assert "line 2, animal: Pip was in no enclosure then" in named[0]
