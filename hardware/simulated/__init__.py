"""Simulated sensors at the level of their datasheets' bytes and bits, and a world to put them in.

one_wire, ds18b20   a 1-Wire line with DS18B20 on it: searched, converted, read bit by bit
i2c, sht            an I2C bus with SHT3x and SHT4x on it: commands, waits, a CRC per word
board               a make-believe board for the node's firmware: these buses, and what befalls them

Plain Python that also runs under MicroPython: the firmware under test meets it there.
"""
