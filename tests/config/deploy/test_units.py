"""The board's units, as systemd itself reads them; what the installer lays down and takes up."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

DEPLOY = Path(__file__).parents[3] / "config" / "deploy"
UNITS = ("collect", "watch", "page")
MOST_EXPOSED = 2.0
"""On systemd-analyze's scale from 0 (safest) to 10."""

systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None and not os.environ.get("CI"),
    reason="systemd is not installed",
)


@systemd
@pytest.mark.parametrize("name", UNITS)
def test_a_unit_is_exposed_no_more_than_it_has_to_be(name: str) -> None:
    said = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", str(DEPLOY / f"warmcoil-{name}.service")],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    exposure = re.search(r"Overall exposure level for \S+: ([\d.]+)", said)
    assert exposure is not None, said
    assert float(exposure[1]) <= MOST_EXPOSED


@systemd
def test_systemd_finds_nothing_to_say_about_the_units(tmp_path: Path) -> None:
    program = tmp_path / "opt/warmcoil/venv/bin/warmcoil"
    program.parent.mkdir(parents=True)
    program.write_text("#!/bin/sh\n", "utf-8")
    program.chmod(0o755)
    files = []
    for path in [*DEPLOY.glob("*.service"), DEPLOY / "warmcoil.target"]:
        text = path.read_text("utf-8").replace("/opt/warmcoil", str(program.parents[2]))
        files.append(tmp_path / path.name)
        files[-1].write_text(text, "utf-8")
    done = subprocess.run(
        ["systemd-analyze", "verify", *map(str, files)], capture_output=True, text=True, check=False
    )
    ours = [line for line in done.stderr.splitlines() if "warmcoil" in line]
    assert (ours, done.returncode) == ([], 0)


@pytest.mark.parametrize("name", UNITS)
def test_what_a_unit_needs_of_the_kernel_is_not_forbidden(name: str) -> None:
    text = (DEPLOY / f"warmcoil-{name}.service").read_text("utf-8")
    settings = dict(line.split("=", 1) for line in text.splitlines() if "=" in line)
    assert settings["ExecStart"] == f"/opt/warmcoil/venv/bin/warmcoil {name}"
    assert (settings["Restart"], settings["Type"]) == ("always", "notify")
    assert int(settings["WatchdogSec"]) >= 60
    assert int(settings["TimeoutStopSec"]) == 5
    if name != "page":  # adjtimex(2) tells whether the clock is right; ProtectClock forbids it
        assert "ProtectClock" not in settings
        assert "SystemCallFilter=adjtimex" in text


def _install(root: Path, what: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", str(DEPLOY / "install.sh"), what],
        env={**os.environ, "DESTDIR": str(root), "WITHOUT_PROGRAMS": "yes"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.skipif(os.geteuid() != 0, reason="installs as root")
def test_what_is_installed_is_taken_away_again_and_the_keepers_files_stay(tmp_path: Path) -> None:
    home = tmp_path / "var/lib/warmcoil"
    home.mkdir(parents=True)
    (home / "warmcoil.toml").write_text("# mine\n", "utf-8")
    broker = tmp_path / "etc/mosquitto"
    (broker / "conf.d").mkdir(parents=True)
    (broker / "warmcoil.acl").write_text("# mine\n", "utf-8")
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    for _ in range(2):  # again: an upgrade
        done = _install(tmp_path, "install")
        assert (done.returncode, done.stderr) == (0, "")
        units = {path.name for path in (tmp_path / "etc/systemd/system").iterdir()}
        assert units == {"warmcoil.target", *(f"warmcoil-{name}.service" for name in UNITS)}
    assert (broker / "conf.d/warmcoil.conf.off").exists()
    assert (broker / "warmcoil.acl").read_text("utf-8") == "# mine\n"
    done = _install(tmp_path, "uninstall")
    assert (done.returncode, done.stderr) == (0, "")
    left = {path for path in tmp_path.rglob("*") if path.is_file()}
    assert left - {broker / "conf.d/warmcoil.conf.off"} == before


@pytest.mark.parametrize("words", [[], ["remove"], ["install", "--help"][1:]])
def test_other_words_are_one_line(words: list[str]) -> None:
    done = subprocess.run(
        ["sh", str(DEPLOY / "install.sh"), *words], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (2, "usage: install.sh install | uninstall\n")
