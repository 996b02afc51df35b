"""The commands as a keeper runs them: real processes, exit codes, one line for every error."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]
FILES = {
    "enclosures": "enclosure,room,notes\neast tub,cellar,\n",
    "animals": "animal,species,sex,born,enclosure,since\n"
    "Juno,Boa constrictor,f,2021-05-30,east tub,2025-01-01T10:00:00+01:00\n",
    "placements": "probe,enclosure,zone,since,until\n"
    "p1,east tub,warm side,2025-01-01T10:00:00+01:00,\n",
    "weights": "animal,time,mass_g,length_cm,midbody_mm\nJuno,2025-01-02T12:00:00+01:00,1500,,\n",
    "handling": "animal,time,minutes,reason\nJuno,2025-01-03T12:00:00+01:00,5,\n",
    "meals": "animal,offered_at,taken_at,removed_at,prey,prey_count,prey_mass_g,prey_width_mm,"
    "prey_surface_c,prey_state,fed_in,outcome,outcome_at,notes\n"
    "Juno,,2025-01-05T19:00:00Z,,rat,1,150,,,thawed,enclosure,kept,,\n",
    "readings": "time,probe,quantity,value,unit\n"
    + "".join(
        f"2025-01-{5 + h // 24:02d}T{h % 24:02d}:{m:02d}:00Z,p1,temperature,31.0,Cel\n"
        for h in range(18, 150)
        for m in (0, 10, 20, 30, 40, 50)
    ),
}


def run(
    *words: str | Path, home: Path | None = None, answer: str = ""
) -> subprocess.CompletedProcess[str]:
    """One command, ended within its time."""
    more = [] if home is None else ["--home", str(home)]
    return subprocess.run(
        [*WARMCOIL, *map(str, words), *more],
        capture_output=True, text=True, input=answer, check=False, timeout=60,
        cwd=Path(__file__).parents[3],
    )  # fmt: skip


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cli")
    made = folder / "home"
    assert run("init", home=made).returncode == 0
    for kind, text in FILES.items():
        file = folder / f"{kind}.csv"
        file.write_text(text, encoding="utf-8")
        done = run("import", kind, file, home=made)
        assert (done.returncode, done.stderr) == (0, ""), kind
    return made


def test_review_as_a_table_and_as_json(home: Path) -> None:
    table = run("review", home=home)
    assert table.returncode == 0
    assert "warm enough" in table.stdout
    assert "31.0 to 31.0 °C" in table.stdout
    (one,) = json.loads(run("review", "--json", home=home).stdout)
    assert set(one) >= {
        "meal", "animal", "enclosure", "taken_at", "window", "coverage", "warm_side", "cool_side",
        "humidity", "digestion", "verdict", "possible", "reasons", "outcome", "outcome_at",
        "factors",
    }  # fmt: skip
    # 150 g of 1500 g is 10 %: D at 30 °C 3.89 d (see the digestion table), so 93.5 h.
    assert one["window"]["hours"] == pytest.approx(93.5, abs=0.5)
    assert one["window"]["ended_by"] == "complete"
    assert (one["verdict"], one["possible"]) == ("warm enough", "warm enough")
    assert one["cool_side"] is None
    assert json.loads(run("review", "--json", "--at", "2025-01-06", home=home).stdout)[0]["window"][
        "hours"
    ] == pytest.approx(5.0)


def test_what_was_different_about_a_meal(home: Path) -> None:
    none_back = run("different", home=home)
    assert (none_back.returncode, none_back.stderr) == (0, "")
    assert none_back.stdout.splitlines() == [
        "No meal has come back, as far as the book knows.",
        "1 other meal: warmcoil different --all, or warmcoil different MEAL",
    ]
    assert json.loads(run("different", "--json", home=home).stdout) == []
    told = run("different", "1", home=home).stdout
    assert told == run("different", "--all", home=home).stdout
    assert "Meal 1. Juno took a 150 g rat on Sun 5 Jan 2025" in told
    assert "Warm side never below 28 °C" in told
    assert "Next time: read it with an infrared thermometer" in told
    assert "a warm reading proves nothing about where it lay" in told
    (one,) = json.loads(run("different", "1", "--json", home=home).stdout)
    assert (one["meal"], one["vet"], one["change"]) == (1, [], None)
    missing = run("different", "99", home=home)
    assert (missing.returncode, missing.stdout) == (1, "")
    assert len(missing.stderr.splitlines()) == 1
    assert run("different", "1", "--animal", "Nobody", home=home).returncode == 1


def test_a_plot_for_a_telephone_is_narrow(home: Path, tmp_path: Path) -> None:
    widths = []
    for name, more in (("wide.png", []), ("phone.png", ["--phone"])):
        assert run("plot", "1", "-o", tmp_path / name, *more, home=home).returncode == 0
        with Image.open(tmp_path / name) as picture:
            widths.append(picture.width / picture.height)
    assert widths[1] < 1 < widths[0]


def test_a_book_of_one_meal_decides_nothing_and_says_so(home: Path) -> None:
    said = run("pattern", home=home)
    assert (said.returncode, said.stderr) == (0, "")
    assert "cause" not in said.stdout
    document = json.loads(run("pattern", "--json", home=home).stdout)
    assert (document["meals"], document["named"]) == (1, [])


def test_probes_plot_check_backup(home: Path, tmp_path: Path) -> None:
    probes = json.loads(run("probes", "--json", home=home).stdout)
    assert probes[0]["zone"] == "warm side"
    assert probes[0]["readings"][0]["value"] == 31.0
    assert "31.0 °C" in run("probes", home=home).stdout
    assert run("plot", "1", "-o", tmp_path / "m.png", home=home).returncode == 0
    assert (tmp_path / "m.png").read_bytes().startswith(b"\x89PNG")
    checked = run("check", home=home)
    assert (checked.returncode, checked.stdout.splitlines()[-1]) == (0, "no faults")
    assert run("backup", tmp_path / "b.tar", home=home).returncode == 0
    again = tmp_path / "again"
    assert run("restore", tmp_path / "b.tar", home=again).returncode == 0
    assert run("review", "--json", home=again).stdout == run("review", "--json", home=home).stdout


def test_check_names_a_fault_and_repair_mends_after_a_typed_yes(home: Path, tmp_path: Path) -> None:
    hurt = tmp_path / "hurt"
    shutil.copytree(home, hurt)
    with closing(sqlite3.connect(hurt / "readings" / "archive.db")) as db, db:
        db.execute("UPDATE block SET packed = x'00'")
    found = run("check", home=hurt)
    assert (found.returncode, found.stderr.count("\n")) == (1, 1)
    assert "warmcoil repair" in found.stderr
    before = (hurt / "readings" / "archive.db").read_bytes()
    assert run("repair", home=hurt, answer="no\n").returncode == 1
    assert (hurt / "readings" / "archive.db").read_bytes() == before
    assert run("repair", home=hurt, answer="yes\n").returncode == 0
    assert run("check", home=hurt).returncode == 0
    assert list((hurt / "readings").glob("archive.db.before-repair*"))


@pytest.mark.parametrize("kind", FILES)
def test_export_gives_back_what_import_takes(home: Path, tmp_path: Path, kind: str) -> None:
    out = tmp_path / "out.csv"
    assert run("export", kind, "-o", out, home=home).returncode == 0
    done = run("import", kind, out, home=home)
    assert (done.returncode, done.stderr) == (0, "")
    assert ": 0 new" in done.stdout
    assert "changed" not in done.stdout


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("plot", "99", "-o", "x.png"), 1, "no meal 99"),
        (("plot", "1", "-o", "x.gif"), 2, ".png, .svg or .pdf"),
        (("plot", "one", "-o", "x.png"), 2, "MEAL"),
        (("review", "--animal", "Nobody"), 1, "Nobody"),
        (("review", "--at", "soon"), 2, "is not a time"),
        (("import", "readings", "no-such-file.csv"), 2, "cannot be read"),
        (("import", "colours", "x.csv"), 2, "colours"),
        (("nonsense",), 2, "nonsense"),
        (("init",), 1, "is there already"),
    ],
)
def test_errors_are_one_line_with_their_code(
    home: Path, words: tuple[str, ...], code: int, says: str
) -> None:
    done = run(*words, home=home) if words != ("nonsense",) else run(*words)
    assert done.returncode == code
    assert says in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ("tyme_zone = 'UTC'\n", "tyme_zone: no such setting"),
        ("time_zone = 'Mars/Base'\n", "is not a time zone"),
        ("[collect]\ncommit_seconds = 'often'\n", "collect.commit_seconds"),
        (
            "[[mqtt.source]]\ntopic='a'\nprobe='b'\ntemperature='/t'\ntemperature_unit='kg'\n",
            "degF",
        ),
        ("time_zone = \n", "not TOML"),
        ("\xff", ""),
    ],
)
@pytest.mark.parametrize("command", ["review", "collect", "watch", "probes"])
def test_bad_settings_are_one_line(tmp_path: Path, settings: str, says: str, command: str) -> None:
    (tmp_path / "warmcoil.toml").write_bytes(settings.encode("latin-1"))
    done = run(command, home=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert done.stderr.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["warmcoil.toml"]


def test_no_home_is_one_line(tmp_path: Path) -> None:
    done = run("review", home=tmp_path / "none")
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert "warmcoil init" in done.stderr
    assert not (tmp_path / "none").exists()
