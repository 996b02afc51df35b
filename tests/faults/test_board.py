"""A board's own root: installed, upgraded, an upgrade that fails, taken away. The data stays.

With `--full` a Debian 12 is made by debootstrap; WARMCOIL_TEST_ROOT names one that is there already
(with python3-venv, make, systemd and udev), of which a copy is used. What pip needs to know to
fetch packages on this machine is put into the root while the test runs.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.record import Promise, told

pytestmark = pytest.mark.timeout(3600)

SOURCES = Path(__file__).parents[2]
ROOT = "WARMCOIL_TEST_ROOT"
PACKAGES = "python3,python3-venv,make,ca-certificates,systemd,udev"
HOME = "/var/lib/warmcoil"
WARMCOIL = "/opt/warmcoil/venv/bin/warmcoil"
UNITS = ("collect", "watch", "page")
_OF_THE_NETWORK = re.compile(r"PIP_.*|.*_proxy|.*_PROXY|SSL_CERT_.*|.*_CA_BUNDLE")
_LEFT_OUT = (
    ".git",
    ".venv",
    ".tools",
    "artefacts",
    "build",
    "*.egg-info",
    "__pycache__",
    ".*cache",
)


class Board:
    """A root of its own, with the sources in /src. Commands run in it, and in mounts that go with
    them."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._environment = {
            "PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL": "C.UTF-8",
            **{k: v for k, v in os.environ.items() if _OF_THE_NETWORK.fullmatch(k)},
        }  # fmt: skip
        self._like_this_machine()
        shutil.copytree(SOURCES, root / "src", ignore=shutil.ignore_patterns(*_LEFT_OUT))

    def _like_this_machine(self) -> None:
        """Names and packages are found there as they are here."""
        shutil.copyfile("/etc/resolv.conf", self.root / "etc/resolv.conf")
        listed = subprocess.run(
            [sys.executable, "-m", "pip", "config", "list"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        settings = dict(re.findall(r"^global\.([a-z-]+)='(.*)'$", listed, re.MULTILINE))
        lines = [f"{name} = {value}" for name, value in settings.items()]
        (self.root / "etc/pip.conf").write_text("\n".join(["[global]", *lines, ""]), "utf-8")
        for value in {*settings.values(), *self._environment.values()}:
            path = Path(value)
            there = self.root / value.lstrip("/")
            if not path.is_absolute():
                continue
            there.parent.mkdir(parents=True, exist_ok=True)
            if path.is_file():
                shutil.copyfile(path, there)  # the authorities that this machine believes
            elif path.is_dir() and not there.exists():
                shutil.copytree(path, there)

    def run(self, command: str) -> subprocess.CompletedProcess[str]:
        """Run a shell's command as the root's root."""
        inside = (
            'mount -t proc proc "$0/proc" && mount --bind /dev "$0/dev" && '
            'exec chroot "$0" sh -c "$1"'
        )
        return subprocess.run(
            ["unshare", "--mount", "sh", "-c", inside, str(self.root), f"cd /src; {command}"],
            capture_output=True, text=True, check=False, env=self._environment, timeout=1800,
        )  # fmt: skip

    def done(self, command: str) -> str:
        """Run one that has to succeed; what it said."""
        ended = self.run(command)
        assert ended.returncode == 0, ended.stderr
        return ended.stdout

    def as_keeper(self, words: str) -> str:
        """A command of the programs, as the user that owns the home."""
        user = "setpriv --reuid=warmcoil --regid=warmcoil --clear-groups"
        return self.done(f"{user} {WARMCOIL} {words} --home {HOME}")

    def home(self) -> dict[str, str]:
        """Every file of the home with what it holds, whose it is and who may read it."""
        folder = self.root / HOME.lstrip("/")
        return {
            str(path.relative_to(folder)): f"{_sha256(path)} {path.stat().st_uid} "
            f"{path.stat().st_mode:o}"
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }

    def units(self) -> set[str]:
        return {path.name for path in (self.root / "etc/systemd/system").glob("warmcoil*")}


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def board(tmp_path: Path, request: pytest.FixtureRequest) -> Board:
    ready = os.environ.get(ROOT)
    if os.geteuid() != 0 or not (ready or request.config.getoption("--full")):
        pytest.skip(f"as root, with --full or {ROOT}")
    root = tmp_path / "root"
    if ready:
        subprocess.run(["cp", "-a", "--reflink=auto", ready, str(root)], check=True)
    elif shutil.which("debootstrap"):
        made = ["debootstrap", "--variant=minbase", f"--include={PACKAGES}", "bookworm", str(root)]
        subprocess.run(made, check=True, capture_output=True)
    else:
        pytest.skip("debootstrap is not installed")
    return Board(root)


def test_installed_upgraded_and_taken_away(board: Board) -> None:
    lost = 0
    said = board.done("make install")
    assert f"Installed. The home is {HOME}" in said
    _is_whole(board)
    before = _furnished(board)
    programs = board.done("readlink /opt/warmcoil/venv")
    for what in ("make install", "make uninstall && make install"):
        board.done(what)
        lost += board.home() != before
        assert board.done("readlink /opt/warmcoil/venv") != programs
        assert board.done("ls -d /opt/warmcoil/venv-*").count("\n") == 1  # the old ones are gone
        _is_whole(board)
    lock = board.root / "src/requirements.lock"
    good = lock.read_text("utf-8")
    lock.write_text(re.sub(r"sha256:[0-9a-f]{64}", f"sha256:{'0' * 64}", good), "utf-8")
    failed = board.run("make install")
    assert failed.returncode != 0
    _is_whole(board)  # an upgrade that fails leaves the programs that were there
    assert board.done("ls -d /opt/warmcoil/venv-*").count("\n") == 1
    lost += board.home() != before
    listing = board.as_keeper("export readings")
    assert listing.count("\n") == 101
    board.as_keeper("check")
    before = board.home()
    assert board.done("make uninstall").startswith("Taken away.")
    lost += board.home() != before
    assert board.units() == set()
    assert not (board.root / "opt/warmcoil").exists()
    assert not (board.root / "etc/udev/rules.d/60-warmcoil.rules").exists()
    told(
        Promise.BOARD, "in a Debian 12 root: installed, upgraded, taken away and installed again, "
        "an upgrade that fails, taken away", tried=5, lost=lost, of="homes that differ",
    )  # fmt: skip
    assert lost == 0


def _is_whole(board: Board) -> None:
    """The programs run, the units are in order, the user is there and the home is its own."""
    assert "collect" in board.done(f"{WARMCOIL} --help")
    assert board.units() == {"warmcoil.target", *(f"warmcoil-{name}.service" for name in UNITS)}
    checked = board.run("systemd-analyze verify /etc/systemd/system/warmcoil*")
    assert [line for line in checked.stderr.splitlines() if "warmcoil" in line] == []
    user = board.done("getent passwd warmcoil").strip().split(":")
    assert user[5:] == [HOME, "/usr/sbin/nologin"]
    assert "warmcoil" in board.done("getent group dialout")
    home = (board.root / HOME.lstrip("/")).stat()
    assert (home.st_uid, home.st_mode & 0o777) == (int(user[2]), 0o750)
    assert int(user[2]) > 0
    assert board.done(f"stat -c %U {HOME}/warmcoil.toml") == "warmcoil\n"


def _furnished(board: Board) -> dict[str, str]:
    """Settings of the keeper's own, a book and readings."""
    settings = board.root / HOME.lstrip("/") / "warmcoil.toml"
    settings.write_text(settings.read_text("utf-8") + "# mine\n", "utf-8")
    board.as_keeper('new enclosure "oak tub"')
    board.as_keeper('new animal Juno --in "oak tub"')
    times = [f"2026-03-01T{n // 60:02}:{n % 60:02}:00Z" for n in range(100)]
    rows = "".join(f"{time},p,temperature,30.5,Cel\n" for time in times)
    (board.root / "src/readings.csv").write_text(f"time,probe,quantity,value,unit\n{rows}", "utf-8")
    board.as_keeper("import readings /src/readings.csv")
    return board.home()
