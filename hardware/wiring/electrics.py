"""The sums behind pull-up resistors and lengths of cable, each with its source."""

from __future__ import annotations

SUPPLY_V = 3.3
CABLE_PF_PER_M = 100.0
"""Of a thin signal cable, wire to wire: 50 to 100 pF/m (from memory); the worse of these."""
SENSOR_AND_BOARD_PF = 50.0
"""Pins of board and sensor, and the sensor's small board (our allowance)."""
I2C_RISE_NS = 1000.0
"""The longest rise time in standard mode, up to 100 kHz (NXP UM10204, table 10; from memory)."""
I2C_MOST_PF = 400.0
"""The largest bus capacitance in standard mode (the same)."""
I2C_SINK_MA, I2C_LOW_V = 3.0, 0.4
"""What a device must be able to pull down, and how low (UM10204 §7.1, read)."""

ONE_WIRE_PULL_UP_OHM = 4700.0
"""The DS18B20 datasheet asks for about 5 kΩ (from memory); 4.7 kΩ is the usual part."""
ONE_WIRE_MOST_M = 20.0
"""Of cable in all on one pin with that resistor: common practice. Long lines, up to 200 m, need a
driver of their own (Maxim application note 148)."""
ONE_WIRE_MOST_STUB_M = 3.0
"""From the line to a probe (application note 148: stubs under 3 m)."""
I2C_PULL_UP_OHM = 4700.0
I2C_MOST_M = 1.5
"""Of cable on the I2C bus: what the sum below leaves room for, with a margin."""


def i2c_capacitance_pf(cable_m: float) -> float:
    """Capacitance of a bus with this much cable, pF."""
    return SENSOR_AND_BOARD_PF + CABLE_PF_PER_M * cable_m


def i2c_largest_ohm(cable_m: float) -> float:
    """The largest pull-up: R = t_r / (0.8473·C) (NXP UM10204 §7.1, equation 1; read)."""
    return I2C_RISE_NS * 1e-9 / (0.8473 * i2c_capacitance_pf(cable_m) * 1e-12)


def i2c_smallest_ohm() -> float:
    """The smallest pull-up: R = (V − V_OL) / I_OL (the same, equation 2; read)."""
    return (SUPPLY_V - I2C_LOW_V) / (I2C_SINK_MA * 1e-3)
