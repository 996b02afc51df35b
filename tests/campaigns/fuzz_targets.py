"""Every decoder that meets input from outside: how it is called, good input, what it may raise."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from pydantic import ValidationError

from analysis.watch import links
from analysis.watch.requests import Action
from analysis.watch.states import AlarmKey, Kind
from collector import backup, payload, rfc3339, senml, serial_frame
from collector.book.book import Book
from collector.compose import mqtt_decoder
from collector.exchange import import_file
from collector.exchange.kinds import KINDS
from collector.exchange.readings_in import READINGS_COLUMNS
from collector.frame import Frame
from collector.sources import onewire
from collector.store import codec
from collector.store.block import open_block
from collector.store.columns import Columns
from collector.store.entry import Receipt, Row, pack_entry, unpack_entry
from collector.store.sqlite_archive import SqliteArchive
from config.care import load_care_profile
from config.errors import BadPayload, BadSettings, NotSo, StoreFault, Unusable
from config.faults import one_line
from config.home import Home
from config.settings import Settings, example_settings, load_settings
from config.sources import Mqtt, MqttSource

NOW_MS = 1_780_000_000_000
KEY = bytes(range(32))

SENML = (
    b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.7e9,"u":"Cel","v":23.1}]',
    b'[{"n":"urn:dev:mac:0024beffff804ff1_humidity","u":"%RH","v":55,"t":-60}]',
    b'[{"n":"x","u":"K","v":300.5},{"n":"x_fault","vs":"no answer"}]',
    b'[{"bver":10,"bn":"p","bu":"degF","bv":70,"v":1},{"s":3,"ut":5},{"vb":true},{"vd":"AQ_-"}]',
)
FOREIGN = (
    b'{"a":{"t":77,"h":"55.5"},"b":[null,3.1],"a/b":1,"m~n":2,"":{"":7}}', b"21.5", b" -3e1\n",
    b'{"a":{"t":null}}',
)  # fmt: skip
ONE_WIRE = (
    b"91 01 4b 46 7f ff 0c 10 25 : crc=25 YES\n91 01 4b 46 7f ff 0c 10 25 t=25062\n", b"25062\n",
    b"00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n",
)  # fmt: skip
TOML = b"""time_zone = "Europe/Lisbon"
[collect]
commit_seconds = 2.5
[[serial]]
port = "/dev/ttyUSB0"
[mqtt]
host = "h"
topic = "a/+/#"
[[mqtt.source]]
topic = "shed/two"
probe = "two"
temperature = "/a/t"
[watch]
quiet_from = "22:00"
quiet_to = 07:00:00
notify = ["json://x"]
[[probe]]
id = "two"
temperature_two_point_c = { read = [0.1, 30], true = [0, 30.5] }
"""
_TIME = "2026-03-01T20:30:00+01:00"
ROWS = {
    "readings": f"{_TIME},p,temperature,31.5,Cel\r\n{_TIME},q,humidity,60,%RH\r\n",
    "enclosures": '"oak tub",back,"say ""hi"""\r\nlow,,\r\n',
    "animals": f"Juno,Boa constrictor,female,2019-06-01,,\r\nTove,,,,oak tub,{_TIME}\r\n",
    "placements": f"p,oak tub,warm side,{_TIME},\r\n",
    "meals": f"Juno,{_TIME},{_TIME},,rat,1,220,35.5,38,thawed,box,kept,2026-03-09T00:00:00Z,ok\r\n",
    "weights": f"Juno,{_TIME},2100,180.5,60\r\n",
    "handling": f"Juno,{_TIME},15,cleaning\r\n",
    "sheds": f"Juno,{_TIME},in shed,\r\n",
    "looks": f"Juno,{_TIME},seen,,,,,,\r\n",
    "calibrations": f"p,{_TIME},0.2,0,0.1,30.5,30,0.1,\r\n",
    "droppings": f"Juno,{_TIME},white,,\r\n",
}


@dataclass(frozen=True)
class Target:
    """A decoder. `cheap`: some 10,000 cases a second. `longest`: bytes of its longest extremes."""

    name: str
    take: Callable[[bytes], object]
    seeds: tuple[bytes, ...]
    declared: tuple[type[Exception], ...]
    cheap: bool = True
    longest: int = 1_000_000


@contextmanager
def targets(folder: Path) -> Iterator[dict[str, list[Target]]]:
    """All of them, by where their input comes from; what they need of files lies in `folder`."""
    with ExitStack() as stack:
        yield {
            "from lines and brokers": list(_wires()),
            "from the card": list(_packed()),
            "from keepers and links": list(_texts(folder)),
            "in files that are imported or restored": list(_files(folder, stack)),
        }


def _wires() -> Iterator[Target]:
    """What comes over a line or a broker."""
    yield Target("senml", lambda case: senml.decode(case, NOW_MS), SENML, (BadPayload,))
    sources = (
        MqttSource(topic="t", probe="p", temperature="/a/t", humidity="/a/h", voltage="/b/1"),
        MqttSource(topic="t", probe="q", temperature="payload", temperature_unit="degF"),
        MqttSource(topic="t", probe="r", temperature="//", humidity="/a~1b", voltage="/b/-"),
    )
    decode = mqtt_decoder(Mqtt(host="h", source=sources))
    yield Target(
        "json pointer",
        lambda case: decode(Frame("mqtt", case, 0.0, label="t"), NOW_MS),
        FOREIGN, (BadPayload,),
    )  # fmt: skip
    anywhere = MqttSource(topic="t", probe="p", temperature="/a/t")
    document = FOREIGN[0]
    yield Target(
        "pointers themselves",
        lambda case: payload.decode(
            document, anywhere.model_copy(update={"temperature": case.decode("utf-8", "replace")})
        ),
        (b"/a/t", b"/b/0", b"/a~1b", b"/m~0n", b"/"), (BadPayload,),
    )  # fmt: skip
    lines = serial_frame.Lines()

    def serial(case: bytes) -> None:
        found = [line for part in (case[:100], case[100:]) for line in lines.feed(part)]
        if lines.buffered > serial_frame.LONGEST_LINE:
            raise AssertionError("it keeps more than the longest line")
        for line in found:
            if line:
                senml.decode(serial_frame.decode(line).encode(), NOW_MS)

    framed = tuple(serial_frame.encode(pack.decode()) for pack in SENML)
    yield Target("serial lines", serial, (*framed, b"".join(framed), b"\n"), (BadPayload,))

    def topic(case: bytes) -> None:
        text = case.decode("utf-8", "replace")
        try:
            source = MqttSource(topic=text, probe="p", voltage="/b")
            one = Mqtt(host="h", topic=text, source=(source,))
        except ValidationError as fault:
            raise BadSettings(one_line(fault)) from fault
        mqtt_decoder(one)(Frame("mqtt", b'{"b": 1}', 0.0, label=text.replace("+", "x")), NOW_MS)

    filters = (b"warmcoil/+/senml", b"a/#", b"+", b"$share/x/+", b"a//b/")
    yield Target("topic filters", topic, filters, (BadSettings, BadPayload))
    yield Target(
        "1-wire files", lambda case: onewire.decode(case, "28-0000071c2f2a"), ONE_WIRE,
        (BadPayload,),
    )  # fmt: skip


def _packed() -> Iterator[Target]:
    """What is read back from the card; with a checksum that fits, too."""
    rows = [Row(n % 3, NOW_MS + 977 * n, 20 + n / 16, n % 5 // 4) for n in range(12)]
    rows.append(Row(1, NOW_MS, 1 / 3, 8))
    entry = pack_entry(rows, [Receipt("mqtt", 7, b"12345678"), Receipt("mqtt", 8, b"abcdefgh")])

    def sealed_entry(case: bytes) -> None:
        unpack_entry(case[:1] + struct.pack("<I", zlib.crc32(case[5:])) + case[5:])

    yield Target("journal entries", unpack_entry, (entry,), (StoreFault,))
    yield Target("journal entries with a checksum", sealed_entry, (entry,), (StoreFault,))
    columns = (
        Columns.ordered([NOW_MS + 10_000 * n for n in range(40)], [20 + n / 16 for n in range(40)]),
        Columns.ordered(
            [NOW_MS + 977 * n * n for n in range(40)], [1 / (n + 3) for n in range(40)]
        ),
        Columns.ordered([5], [-0.0]),
    )
    blocks = tuple(codec.pack(one) for one in columns)
    bodies = tuple(zlib.decompressobj(-15).decompress(block[1:]) for block in blocks)

    def sealed_block(case: bytes) -> None:
        packer = zlib.compressobj(1, zlib.DEFLATED, -15)
        packed = packer.compress(case) + packer.flush()
        codec.unpack(blocks[0][:1] + packed + zlib.crc32(case).to_bytes(4, "little"))

    def block(case: bytes) -> None:
        open_block(case)
        codec.unpack(case)

    yield Target("archive blocks", block, blocks, (StoreFault,))
    yield Target("archive blocks with a checksum", sealed_block, bodies, (StoreFault,))


def _texts(folder: Path) -> Iterator[Target]:
    """What a keeper or a browser says."""
    offer = links.Offer(
        Action.ACKNOWLEDGE, AlarmKey(Kind.WARM_SIDE_LOW, "Larch", "p"), NOW_MS, NOW_MS + 1000
    )
    tokens = tuple(
        one.encode()
        for one in (links.sign(offer, KEY), links.sign_trial(links.Trial("ab", NOW_MS), KEY))
    )
    yield Target(
        "link tokens",
        lambda case: links.verified(case.decode("utf-8", "surrogateescape"), KEY, NOW_MS - 1),
        tokens, (NotSo,),
    )  # fmt: skip
    yield Target(
        "times", lambda case: rfc3339.parse(case.decode("latin-1")),
        (_TIME.encode(), b"1969-12-31T23:59:60.999Z"), (ValueError,),
    )  # fmt: skip
    home = Home(folder / "settings")
    home.folder.mkdir()

    def settings(case: bytes) -> None:
        home.settings.write_bytes(case)
        load_settings(home)

    seeds = (TOML, example_settings().encode())
    yield Target("settings", settings, seeds, (BadSettings,), False, 10_000_000)
    own = folder / "care"
    own.mkdir()

    def care(case: bytes) -> None:
        (own / "boa-constrictor.toml").write_bytes(case)
        load_care_profile("boa-constrictor", own)

    shipped = (resources.files("config") / "care" / "boa-constrictor.toml").read_bytes()
    yield Target("care profile", care, (shipped,), (BadSettings,), cheap=False)


def _files(folder: Path, stack: ExitStack) -> Iterator[Target]:
    """What is imported or restored."""
    book = stack.enter_context(Book(folder / "book.db"))
    archive = stack.enter_context(closing(SqliteArchive(folder / "archive.db")))
    file = folder / "in.csv"

    def importer(kind: str) -> Callable[[bytes], object]:
        def take(case: bytes) -> None:
            file.write_bytes(case)
            import_file(kind, file, book=book, archive=archive, settings=Settings())

        return take

    assert set(ROWS) == {"readings", *KINDS}
    for kind, rows in ROWS.items():
        columns: Sequence[str] = READINGS_COLUMNS if kind == "readings" else KINDS[kind].columns
        seed = f"{','.join(columns)}\r\n{rows}".encode()
        yield Target(f"csv {kind}", importer(kind), (seed,), (Unusable,), False, 10_000_000)
    home = Home(folder / "home")
    home.folder.mkdir()
    home.settings.write_bytes(b"")
    tar = folder / "backup.tar"
    backup.backup(home, tar)
    whole = tar.read_bytes()

    def verify(case: bytes) -> None:
        tar.write_bytes(case)
        backup.verify(tar)

    yield Target("backup files", verify, (whole,), (Unusable,), cheap=False)
