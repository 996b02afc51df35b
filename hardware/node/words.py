"""What a sensor says: a reading, or a fault. A fault is never a number.

Values are whole ten-thousandths of their unit. The arithmetic of many boards has 24 bits of
mantissa, which is too little for times and changes the last digit of values; whole numbers are
exact everywhere.
"""

CELSIUS = "Cel"
HUMIDITY = "%RH"
SUFFIX = {CELSIUS: "", HUMIDITY: "_humidity"}
"""What a device name gets for each unit (RFC 9039: parts behind "_")."""
FAULT_SUFFIX = "_fault"


class Reading:
    """One value: whose (a device name), of which unit, in ten-thousandths of it."""

    def __init__(self, probe: str, unit: str, value_e4: int) -> None:
        self.probe = probe
        self.unit = unit
        self.value_e4 = value_e4


class Fault:
    """Why a probe gave no reading, in few words."""

    def __init__(self, probe: str, text: str) -> None:
        self.probe = probe
        self.text = text


class Said:
    """What one round over sensors brought."""

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.faults: list[Fault] = []

    def reading(self, probe: str, unit: str, value_e4: int) -> None:
        """A value came."""
        self.readings.append(Reading(probe, unit, value_e4))

    def fault(self, probe: str, text: str) -> None:
        """None came."""
        self.faults.append(Fault(probe, text))


class NoReading(Exception):
    """A sensor gave no reading; the text says why."""


class Sensors:
    """Sensors that are read together."""

    async def read(self, said: Said) -> None:
        """Read each of them once into `said`. Raises nothing: what goes wrong is a fault."""
        raise NotImplementedError


def decimal(value: int, places: int) -> str:
    """`value` of 10^-places as a decimal number, without needless zeros: 250625, 4 → 25.0625."""
    sign = "-" if value < 0 else ""
    scale = 10**places
    whole, rest = divmod(abs(value), scale)
    if rest == 0:
        return f"{sign}{whole}"
    digits = str(scale + rest)[1:].rstrip("0")
    return f"{sign}{whole}.{digits}"
