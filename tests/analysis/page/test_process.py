"""The real process: where it listens, how it ends, what it says when it cannot begin."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from analysis.page.access.passphrase import PassphraseFile
from config.home import Home
from tests.page_process import PageProcess

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]


def with_page(home: Home, lines: str) -> None:
    text = home.settings.read_text(encoding="utf-8")
    home.settings.write_text(f"{text}\n[page]\n{lines}\n", encoding="utf-8")


def test_it_serves_and_ends_when_asked(home: Home) -> None:
    with PageProcess(home) as page:
        assert page.host == "127.0.0.1"
        assert page.status() == 200
        page.process.send_signal(signal.SIGTERM)
        assert page.process.wait(10) == 0


def test_without_a_pass_phrase_it_listens_on_this_machine_only(home: Home) -> None:
    with_page(home, 'host = "0.0.0.0"')
    with PageProcess(home) as page:
        assert page.host == "127.0.0.1"
        bound = Path("/proc/net/tcp").read_text("ascii")
        assert f"0100007F:{page.port:04X} 00000000:0000 0A" in bound
        assert f"00000000:{page.port:04X} 00000000:0000 0A" not in bound


def test_with_one_it_listens_where_the_settings_say(home: Home) -> None:
    with_page(home, 'host = "0.0.0.0"')
    PassphraseFile(home.folder).set("four warm sleeping coils")
    with PageProcess(home) as page:
        assert page.host == "0.0.0.0"  # noqa: S104  # it is what was asked for
        assert page.status() == 200


def listening(process: subprocess.Popen[str]) -> tuple[str, int]:
    assert process.stderr is not None
    for line in process.stderr:
        found = re.search(r"listening on http://(.+):(\d+)", line)
        if found is not None:
            return found[1], int(found[2])
    raise AssertionError("it never listened")


def test_the_command_becomes_the_page(home: Home) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with_page(home, f"port = {port}")
    process = subprocess.Popen(
        [*WARMCOIL, "page", "--home", str(home.folder)], stderr=subprocess.PIPE, text=True
    )
    try:
        assert listening(process) == ("127.0.0.1", port)
    finally:
        process.terminate()
        process.communicate(timeout=10)
    assert process.returncode == 0


def test_a_killed_page_leaves_a_book_that_can_be_read(home: Home) -> None:
    before = home.book.read_bytes()
    with PageProcess(home) as page:
        assert page.status() == 200
        page.kill()
    assert home.book.read_bytes() == before
    with PageProcess(home) as page:
        assert page.status() == 200


def said_by(*words: str) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-m", "analysis.page", *words], capture_output=True, text=True, timeout=30,
        check=False,
    )  # fmt: skip
    return done.returncode, done.stderr


def test_a_taken_port_is_said_in_one_line(home: Home) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, said = said_by("--home", str(home.folder), "--port", str(port))
    assert code == 2
    assert f"port {port}" in said.splitlines()[-1]
    assert "Traceback" not in said


def test_a_second_page_is_refused(home: Home) -> None:
    with PageProcess(home):
        code, said = said_by("--home", str(home.folder), "--port", "0")
    assert code == 1
    assert "another page" in said


def test_no_home_is_said(tmp_path: Path) -> None:
    code, said = said_by("--home", str(tmp_path / "nowhere"))
    assert code == 1
    assert "warmcoil init" in said


# ---- the commands of who may look ------------------------------------------------------------


def warmcoil(home: Home, *words: str, told: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*WARMCOIL, *words, "--home", str(home.folder)],
        input=told, capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip


def test_the_pass_phrase_is_set_and_taken_away(home: Home) -> None:
    assert warmcoil(home, "passphrase", told="short\n").returncode == 2
    done = warmcoil(home, "passphrase", told="four warm sleeping coils\n")
    assert done.returncode == 0
    assert "coils" not in done.stdout + done.stderr
    assert PassphraseFile(home.folder).fits("four warm sleeping coils")
    assert warmcoil(home, "passphrase", "--clear").returncode == 0
    assert not PassphraseFile(home.folder).is_set
    assert warmcoil(home, "passphrase", "--clear").returncode == 1


@pytest.mark.parametrize(("second", "code"), [("four warm coils", 0), ("four warm coal", 2)])
def test_at_a_terminal_it_is_typed_twice(home: Home, second: str, code: int) -> None:
    """Over a real pty; nothing of it is echoed."""
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        [*WARMCOIL, "passphrase", "--home", str(home.folder)],
        stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    echoed = b""
    try:
        for word, answer in ((b"Pass phrase", "four warm coils"), (b"same again", second)):
            while word not in echoed:
                echoed += os.read(ours, 1000)
            wait_until_nothing_is_echoed(ours)
            os.write(ours, f"{answer}\n".encode())
        assert process.wait(15) == code
    finally:
        process.kill()
        process.wait()
        os.close(ours)
    assert b"four" not in echoed


def wait_until_nothing_is_echoed(terminal: int) -> None:
    """The prompt is written just before; what is typed until then is thrown away."""
    until = time.monotonic() + 10
    while termios.tcgetattr(terminal)[3] & termios.ECHO:
        assert time.monotonic() < until
        time.sleep(0.01)


def test_tokens_are_made_listed_and_revoked(home: Home) -> None:
    made = warmcoil(home, "token", "new", "graph")
    assert made.stdout.startswith("warmcoil_")
    assert "graph: made" in warmcoil(home, "token", "list").stdout
    assert made.stdout.strip() not in warmcoil(home, "token", "list", "--json").stdout
    assert warmcoil(home, "token", "new", "graph").returncode == 2
    assert warmcoil(home, "token", "revoke", "graph").returncode == 0
    assert warmcoil(home, "token", "revoke", "graph").returncode == 1
