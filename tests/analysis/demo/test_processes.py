"""The demo's processes die with it, whatever it died of."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from analysis.demo.processes import Family, module
from hardware.rack.broker import free_port, mosquitto_path, port_is_free, prepare_broker

SLEEP = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(60)"]


def alive(pid: int) -> bool:
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except FileNotFoundError:
        return False
    return "State:\tZ" not in status


def gone(pid: int, seconds: float = 10.0) -> bool:
    until = time.monotonic() + seconds
    while alive(pid):
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True


def test_they_are_ended_last_first_and_their_words_are_kept(tmp_path: Path) -> None:
    family = Family(tmp_path)
    first, second = family.start("first", SLEEP), family.start("second", SLEEP)
    while first.last_words() != "up" or second.last_words() != "up":
        time.sleep(0.02)
    assert family.dead() is None
    family.end()
    assert first.process.returncode == second.process.returncode == -signal.SIGTERM


def test_one_that_ends_by_itself_is_found_with_its_last_words(tmp_path: Path) -> None:
    family = Family(tmp_path)
    child = family.start("brief", [sys.executable, "-c", "print('so be it'); raise SystemExit(7)"])
    child.process.wait(10)
    assert family.dead() is child
    assert child.process.returncode == 7
    assert child.last_words() == "so be it"


def test_one_that_will_not_end_is_killed(tmp_path: Path) -> None:
    stubborn = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        "print('up', flush=True); time.sleep(60)"
    )
    family = Family(tmp_path, patience_seconds=0.3)
    child = family.start("stubborn", [sys.executable, "-c", stubborn])
    while child.last_words() != "up":
        time.sleep(0.02)
    family.end()
    assert child.process.returncode == -signal.SIGKILL


def test_a_killed_parent_takes_its_children_along(tmp_path: Path) -> None:
    # Also a broker, which is not ours and could shed the leash by changing its user.
    port = free_port()
    assert mosquitto_path() is not None
    broker = prepare_broker(tmp_path / "broker", port)
    program = (
        "import pathlib, sys, time\n"
        "from analysis.demo.processes import Family\n"
        f"family = Family(pathlib.Path({str(tmp_path)!r}))\n"
        f"print(family.start('sleep', {SLEEP!r}).process.pid)\n"
        f"print(family.start('broker', {list(broker.command)!r}).process.pid, flush=True)\n"
        "time.sleep(60)\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    try:
        pids = [int(parent.stdout.readline()) for _ in range(2)]
        while port_is_free(port) or "up" not in (tmp_path / "sleep.log").read_text():
            time.sleep(0.02)
    finally:
        parent.send_signal(signal.SIGKILL)
        parent.wait()
        parent.stdout.close()
    assert all(gone(pid) for pid in pids)


def test_a_leash_on_a_parent_that_has_gone_starts_nothing(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    leash = module("analysis.demo.leash", "1", sys.executable, "-c", f"open({str(mark)!r}, 'w')")
    assert os.getpid() != 1
    assert subprocess.run(leash, check=False, timeout=20).returncode == 0
    assert not mark.exists()


def test_a_long_log_is_put_aside_once(tmp_path: Path) -> None:
    (tmp_path / "talker.log").write_text("x" * 1_000_001, encoding="utf-8")
    family = Family(tmp_path)
    child = family.start("talker", [sys.executable, "-c", "print('anew')"])
    child.process.wait(10)
    assert child.last_words() == "anew"
    assert (tmp_path / "talker.log").stat().st_size < 100
    assert (tmp_path / "talker.log.1").stat().st_size == 1_000_001
    family.end()
