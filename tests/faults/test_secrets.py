"""Secrets stay in their files: every process is run over recognisable ones, and all it says and
shows is searched for them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tarfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from urllib.parse import urlencode

import pytest

from analysis.page.access.passphrase import PassphraseFile
from analysis.watch.links import signing_key
from collector.backup import backup
from config.home import Home
from tests.analysis.page.homes import NOW
from tests.analysis.page.homes import make_home as page_home
from tests.analysis.watch.endpoint import Endpoint
from tests.analysis.watch.stage import WatchProcess, wall_ms, write_care
from tests.broker import HOST, Mosquitto, broker, free_port
from tests.collector_process import CollectorProcess
from tests.faults.record import Promise, told
from tests.page_process import PageProcess
from tests.plug import eventually

__all__ = ["broker"]
pytestmark = [pytest.mark.broker, pytest.mark.timeout(300), pytest.mark.campaign]

WARMCOIL = [sys.executable, "-c", "import sys; from analysis.cli import main; sys.exit(main())"]
SECRETS = {
    name: f"hush-{name}-5e"
    for name in ("mqtt", "inline", "notify", "others", "heartbeat", "influx", "phrase")
}
ASKED = ("/", "/healthz", "/metrics", "/alarms", "/probes", "/take-away", "/api/probes",
         "/api/alarms", "/api/meals", "/api/reviews", "/api/openapi.json", "/nothing",
         "/enter")  # fmt: skip
COMMANDS = (
    ("probes",), ("alarms", "--all"), ("check",), ("review",), ("due",), ("history",),
    ("token", "list"),
)  # fmt: skip


def furnished(folder: Path, port: int, endpoint: Endpoint) -> Home:
    """A home with a secret in every place that can hold one; the broker and InfluxDB refuse."""
    home = page_home(folder, later_ms=wall_ms() - NOW)
    write_care(home, on_delay=0.01, on_delay_digesting=0.01, no_readings=0.05)
    at = f"{HOST}:{endpoint.port}"
    files = {
        "mqtt": SECRETS["mqtt"],
        "notify": f"json://keeper:{SECRETS['notify']}@{at}/{SECRETS['notify']}",
        "others": f"json://other:{SECRETS['others']}@{HOST}:9/",
        "heartbeat": f"http://{HOST}:9/{SECRETS['heartbeat']}",
        "influx": f"keeper:{SECRETS['influx']}",
    }
    for name, text in files.items():
        (folder / f"{name}-secret").write_text(f"{text}\n", "utf-8")
        (folder / f"{name}-secret").chmod(0o600)
    PassphraseFile(folder).set(SECRETS["phrase"])
    settings = home.settings.read_text("utf-8")
    home.settings.write_text(
        f"""{settings}
[collect]
commit_seconds = 0.2
[[simulated]]
probe = "sim"
every_seconds = 0.2
[mqtt]
host = "{HOST}"
port = {port}
username = "board"
password_file = "{folder}/mqtt-secret"
[archive]
kind = "sqlite"
url = "http://{HOST}:9"
bucket = "b"
token_file = "{folder}/influx-secret"
[watch]
every_seconds = 0.2
notify = ["json://inline:{SECRETS["inline"]}@{HOST}:9/"]
notify_file = "{folder}/notify-secret"
tell_others_file = "{folder}/others-secret"
tell_others_after_minutes = 1
heartbeat_file = "{folder}/heartbeat-secret"
heartbeat_minutes = 1
[page]
port = {free_port()}
""",
        "utf-8",
    )
    return home


class Arguments:
    """Every command line and, but for our own, that of every process meanwhile."""

    def __init__(self) -> None:
        self.seen: set[bytes] = set()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        while not self._stop.wait(0.2):
            for path in Path("/proc").glob("[0-9]*/cmdline"):
                try:
                    self.seen.add(path.read_bytes())
                except OSError:
                    continue  # it has ended

    def __enter__(self) -> Arguments:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()


@contextmanager
def refusing(folder: Path) -> Iterator[Mosquitto]:
    """A broker that knows nobody."""
    folder.mkdir()
    (folder / "words").write_text("", "utf-8")
    (folder / "words").chmod(0o600)
    made = Mosquitto(folder, "allow_anonymous false", f"password_file {folder / 'words'}")
    made.start()
    try:
        yield made
    finally:
        made.stop()


def asked(page: PageProcess) -> str:
    """Everything the page says to a stranger, and to one who knows the pass phrase."""
    said = ""
    for cookie in ("", entered(page)):
        for path in ASKED:
            connection = HTTPConnection(HOST, page.port, timeout=60)
            connection.request("GET", path, headers={"Cookie": cookie} if cookie else {})
            answer = connection.getresponse()
            said += f"{answer.getheaders()}{answer.read().decode('utf-8', 'replace')}"
            connection.close()
    return said


def entered(page: PageProcess) -> str:
    """The cookie of one who said the pass phrase."""
    connection = HTTPConnection(HOST, page.port, timeout=60)
    connection.request("GET", "/enter")
    answer = connection.getresponse()
    token = re.search(r'name="form_token" value="([^"]+)"', answer.read().decode())
    assert token is not None
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Origin": f"http://{HOST}:{page.port}",
        "Cookie": _cookies(answer),
    }
    form = {"form_token": token[1], "passphrase": SECRETS["phrase"], "to": "/"}
    connection.request("POST", "/enter", urlencode(form), headers)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    assert answer.status == 303
    return _cookies(answer)


def _cookies(answer: HTTPResponse) -> str:
    given = [value.split(";")[0] for name, value in answer.getheaders() if name == "set-cookie"]
    return "; ".join(given)


_INLINE = SECRETS["inline"]
SLIPS = (
    f'notify = "json://u:{_INLINE}@h"',
    f'notify = ["json://u:{_INLINE}@h"',
    f'notify = ["json://u:{_INLINE}@h", 1]',
    f'[[watch.notify]]\nx = "json://u:{_INLINE}@h"',
    f'heartbeat_file = "{_INLINE}" x',
    f'notify_file = ["{_INLINE}"]',
    f'notify = {{ a = "{_INLINE}" }}',
)
"""Of a keeper, beside a secret."""


def test_secrets_are_in_their_files_alone(tmp_path: Path) -> None:
    said: dict[str, str] = {}
    with ExitStack() as stack:
        arguments = stack.enter_context(Arguments())
        broker = stack.enter_context(refusing(tmp_path / "broker"))
        endpoint = stack.enter_context(Endpoint())
        endpoint.answer = lambda _: 403
        home = furnished(tmp_path / "home", broker.port, endpoint)
        key = signing_key(home)
        collector = CollectorProcess(home)
        stack.callback(collector.kill)
        watch = stack.enter_context(WatchProcess(home))
        page = stack.enter_context(PageProcess(home))
        assert eventually(lambda: collector.said("refused"), 60)
        endpoint.wait_for_requests(1, 120)
        said["the page's answers"] = asked(page)
        for words in COMMANDS:
            ended = subprocess.run(
                [*WARMCOIL, *words, "--home", str(home.folder)],
                capture_output=True, text=True, check=False, timeout=120,
            )  # fmt: skip
            said[f"warmcoil {words[0]}"] = ended.stdout + ended.stderr
        file = tmp_path / "b.tar"
        taken = backup(home, file)
        time.sleep(1.0)
        collector.stop()
        watch.end()
        said["collector's log"] = collector.log.read_text("utf-8")
        said["watch's log"] = watch.log_text()
        said["page's log"] = page.log_text()
    said["command lines"] = b"\n".join(arguments.seen).decode("utf-8", "replace")
    said["collector.json"] = home.collector_state.read_text("utf-8")
    with tarfile.open(file) as tar:
        said["a backup's listing"] = f"{tar.getnames()} {taken}"
    packed = file.read_bytes()
    for number, slip in enumerate(SLIPS):
        bad = Home(tmp_path / f"bad{number}")
        bad.folder.mkdir()
        bad.settings.write_text(f"[watch]\n{slip}\n", "utf-8")
        ended = subprocess.run(
            [sys.executable, "-m", "analysis.watch", "--home", str(bad.folder)],
            capture_output=True, text=True, check=False, timeout=60, env={**os.environ},
        )  # fmt: skip
        assert ended.returncode == 2, slip
        said[f"an error line for {slip!r}"] = ended.stdout + ended.stderr
    found = [
        f"{name} in {where}: …{text[max(0, text.find(secret) - 60) :][:140]}…"
        for where, text in said.items()
        for name, secret in SECRETS.items()
        if secret in text
    ]
    # The settings themselves are in a backup, and nobody but its owner may read that.
    found += [
        f"{name} in a backup"
        for name, s in SECRETS.items()
        if name != "inline" and s.encode() in packed
    ]
    assert key not in packed
    assert file.stat().st_mode & 0o777 == 0o600
    told(
        Promise.HIDDEN, "logs, answers, command lines, error lines and a backup are searched for "
        f"{len(SECRETS)} secrets", tried=len(said) * len(SECRETS), lost=len(found),
        of="secrets found",
    )  # fmt: skip
    assert found == []
