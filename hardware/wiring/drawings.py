"""The four drawings: two circuits, an enclosure from the side, and how a cable goes in."""

from __future__ import annotations

from collections.abc import Callable

from hardware.wiring import electrics
from hardware.wiring.svg import FAINT, WIRES, Drawing

_SAND, _WARM, _GLASS = "#efe6d6", "#f6d7c3", "#f4f8fb"


def ds18b20() -> Drawing:
    """DS18B20 probes on one pin."""
    ohm = electrics.ONE_WIRE_PULL_UP_OHM / 1000
    drawing = Drawing(
        760,
        360,
        "DS18B20 probes on one pin of the board",
        "The board's 3.3 V, one pin and ground go to every probe. One resistor of "
        f"{ohm:g} kilohm joins the pin's wire to 3.3 V, at the board.",
    )
    drawing.box(20, 70, 150, 220)
    drawing.words(95, 100, "board", bold=True, anchor="middle")
    rows = {"3.3 V": 140, "data": 195, "ground": 250}
    for name, y in rows.items():
        drawing.words(160, y + 5, name if name != "data" else "pin (data)", anchor="end")
        drawing.line((170, y), (700, y), colour=WIRES[name])
    drawing.resistor(220, 195, 55, f"{ohm:g} kΩ", 173)
    drawing.dot(220, 140)
    drawing.dot(220, 195)
    for number, x in enumerate((360, 500, 640), start=1):
        for (name, y), shift in zip(rows.items(), (-16, 0, 16), strict=True):
            drawing.dot(x + shift, y, WIRES[name])
            drawing.line((x + shift, y), (x + shift, 290), colour=WIRES[name], width=2)
        drawing.box(x - 26, 290, 52, 30)
        drawing.words(x, 310, f"probe {number}", size=12, anchor="middle")
    drawing.words(
        20, 342, "red: 3.3 V, yellow or white: data, black: ground, mostly; ask the seller"
    )
    return drawing


def sht() -> Drawing:
    """An SHT3x or SHT4x on the I2C bus."""
    ohm = electrics.I2C_PULL_UP_OHM / 1000
    drawing = Drawing(
        760,
        340,
        "SHT3x or SHT4x on the board",
        "3.3 V, SDA, SCL and ground go from the board to the sensor. A resistor of "
        f"{ohm:g} kilohm joins each of SDA and SCL to 3.3 V, if the sensor's board has none.",
    )
    drawing.box(20, 70, 150, 220)
    drawing.words(95, 100, "board", bold=True, anchor="middle")
    drawing.box(560, 70, 180, 220)
    drawing.words(650, 100, "sensor", bold=True, anchor="middle")
    rows = (("3.3 V", "3.3 V", 130), ("data", "SDA", 180), ("clock", "SCL", 225))
    for colour, name, y in (*rows, ("ground", "ground", 270)):
        drawing.words(160, y + 5, name, anchor="end")
        drawing.words(572, y + 5, name)
        drawing.line((170, y), (560, y), colour=WIRES[colour])
    for x, y, name_y in ((230, 180, 160), (380, 225, 207)):
        drawing.resistor(x, y, y - 130, f"{ohm:g} kΩ", name_y)
        drawing.dot(x, 130)
        drawing.dot(x, y)
    most = f"cable: {electrics.I2C_MOST_M:g} m at most"
    drawing.words(20, 322, f"{most}; leave the resistors out where the sensor's board has them")
    return drawing


def enclosure() -> Drawing:
    """Where the probes lie, from the side."""
    drawing = Drawing(
        860,
        470,
        "Where the probes lie",
        "An enclosure from the side. On the warm side a probe lies on the surface, at the height "
        "of the animal, shaded from the heater; another is in the hide, a third on the cool side."
        " Their cables leave through glands high on the back wall, in loops that hang lower than "
        "the gland; the board is outside.",
    )
    drawing.box(40, 90, 640, 300, fill=_GLASS)
    drawing.box(42, 350, 636, 38, fill=_SAND)
    drawing.box(90, 96, 130, 26, fill=_WARM)
    drawing.words(155, 114, "heater, guarded", size=13, anchor="middle")
    drawing.words(150, 412, "warm side", bold=True, anchor="middle")
    drawing.words(580, 412, "cool side", bold=True, anchor="middle")
    drawing.line((40, 430), (680, 430), colour=FAINT, width=2)
    apart = "thermostat: its own sensor and its own fuse; the monitor never switches heat"
    drawing.words(360, 456, apart, size=14, anchor="middle")
    drawing.box(100, 300, 64, 8, fill=FAINT)
    drawing.words(172, 308, "shade", size=13)
    drawing.line((132, 331), (132, 322), (74, 322), (74, 150), width=2)
    _probe(drawing, 132, "1", 86)
    drawing.curve("M 230 350 Q 230 290 300 290 Q 370 290 370 350", width=3)
    drawing.words(300, 282, "hide", size=13, anchor="middle")
    drawing.line((345, 331), (345, 150), width=2)
    _probe(drawing, 345, "2", 357)
    drawing.line((580, 331), (580, 150), width=2)
    _probe(drawing, 580, "3", 592)
    drawing.box(720, 110, 120, 70)
    drawing.words(780, 140, "board, in a", size=13, anchor="middle")
    drawing.words(780, 158, "dry box", size=13, anchor="middle")
    drawing.curve("M 680 150 Q 700 182 720 150")
    drawing.line((74, 150), (680, 150), width=2)
    drawing.words(400, 142, "cables along the back wall, in a channel", size=13, anchor="middle")
    for y, line in ((214, "1 warm side,"), (232, "on the surface"), (260, "2 in the hide")):
        drawing.words(700, y, line, size=14)
    drawing.words(700, 288, "3 cool side", size=14)
    drawing.words(700, 330, "all at the height", size=13)
    drawing.words(700, 347, "of the animal", size=13)
    return drawing


def _probe(drawing: Drawing, x: float, name: str, name_x: float) -> None:
    """A probe on the ground, and its number beside its cable."""
    drawing.box(x - 6, 329, 12, 22, fill=FAINT)
    drawing.words(name_x, 240, name, bold=True)


def cable_entry() -> Drawing:
    """A cable through a wall: drip loop, gland, clamp, sleeve."""
    drawing = Drawing(
        760,
        360,
        "A cable through the wall",
        "From the board outside the cable hangs in a loop that is lower than the hole, so that "
        "water drips off; it goes through a gland that grips it; inside a clamp holds it, and "
        "from there it lies in a hard sleeve or channel down to the probe.",
    )
    drawing.box(370, 60, 24, 270, fill=FAINT)
    drawing.words(200, 84, "outside", bold=True, anchor="middle")
    drawing.words(560, 84, "inside", bold=True, anchor="middle")
    drawing.curve("M 60 130 C 60 290 250 300 330 160", width=4)
    drawing.line((330, 160), (470, 160), width=4)
    drawing.box(345, 142, 74, 36)
    drawing.words(330, 130, "gland", anchor="end")
    drawing.box(446, 148, 26, 24)
    drawing.words(480, 146, "clamp: a pull stops here")
    drawing.line((472, 160), (520, 160), (520, 300), width=4)
    drawing.box(508, 176, 24, 110, dash=True)
    drawing.words(542, 224, "hard sleeve, end to end:")
    drawing.words(542, 243, "nothing to chew, nothing")
    drawing.words(542, 262, "to lift or to coil around")
    drawing.box(513, 296, 14, 28, fill=FAINT)
    drawing.words(536, 316, "probe")
    drawing.words(40, 290, "drip loop: its lowest point")
    drawing.words(40, 309, "below the hole and the board")
    return drawing


ALL: dict[str, Callable[[], Drawing]] = {
    "ds18b20.svg": ds18b20,
    "sht.svg": sht,
    "enclosure.svg": enclosure,
    "cable-entry.svg": cable_entry,
}
"""File names and what draws them."""
