"""The node's settings: the file node.json on the board, checked before anything is begun."""

import json

from . import sntp
from .sht import KINDS

TYPE_CHECKING = False  # MicroPython has no typing
if TYPE_CHECKING:
    Kinds = dict[str, type[object]]

LEAST_SECONDS, MOST_SECONDS = 5, 600
"""Between readings. A DS18B20 that converts takes up to 1.5 mA for 0.75 s (datasheet); at 3.3 V
every 5 s that is 0.75 mW. At about 140 K/W (a bare TO-92 in still air, from memory) it warms
itself by 0.1 °C, at the usual 10 s by half of that. More often would measure the sensor."""
MOST_BUFFER = 10_000
_MQTT: "Kinds" = {"host": str, "port": int, "username": str, "password": str, "ca_file": str}
_WIFI: "Kinds" = {"name": str, "password": str}
_I2C: "Kinds" = {"sda": int, "scl": int}
_KNOWN: "Kinds" = {
    "name": str,
    "speak": str,
    "every_seconds": int,
    "one_wire_pins": list,
    "i2c": dict,
    "sht": dict,
    "wifi": dict,
    "mqtt": dict,
    "time_server": str,
    "buffer_readings": int,
}
_NAME_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789-"


class BadSettings(Exception):
    """The file cannot be used; the text says what and where, in one line."""


class Settings:
    """Everything that node.json may say, with what holds where it says nothing."""

    def __init__(self, said: dict[str, object]) -> None:
        _known(said, _KNOWN, "")
        self.name: str = _name(said.get("name", ""))
        self.speak: str = _one_of(said.get("speak", "serial"), ("serial", "mqtt"), "speak")
        self.every_seconds = _between(said, "every_seconds", 10, LEAST_SECONDS, MOST_SECONDS)
        self.buffer_readings = _between(said, "buffer_readings", 3000, 100, MOST_BUFFER)
        self.one_wire_pins: list[int] = _pins(said.get("one_wire_pins", []))
        self.i2c = _part(said, "i2c", _I2C)
        self.sht = _sht(said.get("sht", {}))
        self.wifi = _part(said, "wifi", _WIFI)
        self.mqtt = _part(said, "mqtt", _MQTT)
        self.time_server = _time_server(str(said.get("time_server", "pool.ntp.org")))
        self._agree()

    def _agree(self) -> None:
        if not self.one_wire_pins and not self.sht:
            raise BadSettings("no sensor is named: give one_wire_pins, or i2c and sht")
        if self.sht and ("sda" not in self.i2c or "scl" not in self.i2c):
            raise BadSettings("sht: needs i2c with its pins sda and scl")
        pins = self.one_wire_pins + [_between(self.i2c, name, 0, 0, 99) for name in self.i2c]
        for pin in pins:
            if pins.count(pin) > 1:
                raise BadSettings(f"pin {pin} is named twice; each wire has a pin of its own")
        _between(self.mqtt, "port", 1883, 1, 65535)
        if self.speak == "mqtt" and not self.mqtt.get("host"):
            raise BadSettings("mqtt: needs host, the broker's address")
        if "username" in self.mqtt and "password" not in self.mqtt:
            raise BadSettings("mqtt: username needs a password beside it")
        if self.speak == "mqtt" and not self.wifi.get("name"):
            raise BadSettings("wifi: needs name and password of the home's network")

    @property
    def topic(self) -> str:
        """Where the node publishes."""
        return f"warmcoil/{self.name}/senml"

    @property
    def login(self) -> tuple[str, str] | None:
        """User name and password for the broker. The user name is the node's own unless given."""
        if "password" not in self.mqtt:
            return None
        return str(self.mqtt.get("username", self.name)), str(self.mqtt["password"])

    @property
    def broker(self) -> tuple[str, int, str | None]:
        """Host, port, and the file with the authority's certificate where it speaks TLS."""
        ca_file = self.mqtt.get("ca_file")
        usual = 1883 if ca_file is None else 8883
        port = self.mqtt.get("port", usual)
        return (
            str(self.mqtt.get("host", "")),
            int(str(port)),
            None if ca_file is None else str(ca_file),
        )


def load(path: str) -> Settings:
    """The settings in a file. Raises BadSettings, one line."""
    try:
        with open(path, "rb") as file:
            text = file.read()
        # Some editors put a mark before the text (EF BB BF), which is nothing of ours.
        said = json.loads(text[3:] if text[:3] == b"\xef\xbb\xbf" else text)
    except OSError:
        raise BadSettings(f"{path}: cannot be read") from None
    except ValueError:
        raise BadSettings(f"{path}: not JSON: look for a missing comma or quote") from None
    if not isinstance(said, dict):
        raise BadSettings(f"{path}: has to begin with {{ and end with }}")
    try:
        return Settings(said)
    except BadSettings as fault:
        raise BadSettings(f"{path}: {fault}") from None


def _known(said: dict[str, object], known: "Kinds", where: str) -> None:
    for key, thing in said.items():
        if key not in known:
            raise BadSettings(f"{where}{key}: no such setting; there are {_list(known)}")
        if not isinstance(thing, known[key]) or isinstance(thing, bool):
            words = {str: "a text", int: "a whole number", list: "a list", dict: "a part in { }"}
            raise BadSettings(f"{where}{key}: has to be {words[known[key]]}")


def _list(known: "Kinds") -> str:
    return ", ".join(sorted(known))


def _name(name: object) -> str:
    if not isinstance(name, str) or not 0 < len(name) <= 20:
        raise BadSettings("name: give the node a name of 1 to 20 letters")
    if any(letter not in _NAME_LETTERS for letter in name):
        raise BadSettings("name: use a to z, 0 to 9 and - only")
    return name


def _one_of(thing: object, words: tuple[str, ...], key: str) -> str:
    if thing not in words:
        raise BadSettings(f"{key}: has to be one of {', '.join(words)}")
    return str(thing)


def _between(said: dict[str, object], key: str, usual: int, least: int, most: int) -> int:
    number = said.get(key, usual)
    if not isinstance(number, int) or isinstance(number, bool) or not least <= number <= most:
        raise BadSettings(f"{key}: has to be a whole number from {least} to {most}")
    return number


def _pins(pins: object) -> list[int]:
    if not isinstance(pins, list) or len(pins) > 8:
        raise BadSettings("one_wire_pins: give a list of at most 8 pin numbers")
    for pin in pins:
        if not isinstance(pin, int) or isinstance(pin, bool) or not 0 <= pin < 100:
            raise BadSettings(f"one_wire_pins: {json.dumps(pin)} is not a pin number")
    return pins


def _time_server(text: str) -> tuple[str, int]:
    """Host and port."""
    host, colon, port = text.partition(":")
    if not host or (colon and not (port.isdigit() and 0 < int(port) < 65536)):
        raise BadSettings("time_server: has to be host or host:port")
    return host, int(port or sntp.PORT)


def _part(said: dict[str, object], key: str, known: "Kinds") -> dict[str, object]:
    part = said.get(key, {})
    if not isinstance(part, dict):
        raise BadSettings(f"{key}: has to be a part in {{ }}")
    _known(part, known, key + ".")
    return part


def _sht(said: object) -> dict[int, str]:
    """Kind by address."""
    found = {}
    if not isinstance(said, dict):
        raise BadSettings("sht: has to be a part in { }")
    for address, kind in said.items():
        if address not in ("0x44", "0x45", "0x46"):
            raise BadSettings(f"sht: {address} is no address; there are 0x44, 0x45, 0x46")
        if address == "0x46" and kind == "SHT3x":
            raise BadSettings("sht.0x46: an SHT3x has 0x44 or 0x45 (datasheet); 0x46 is an SHT4x")
        found[int(address, 16)] = _one_of(kind, tuple(sorted(KINDS)), "sht." + address)
    return found
