"""The three checksums of a node: 1-Wire, SHT sensors, and the lines of the serial link."""


def crc8_dow(data: bytes) -> int:
    """CRC-8/MAXIM-DOW of a ROM or a scratchpad; of "123456789" A1h.

    Over data with its own CRC behind it, 0.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0x8C if crc & 1 else crc >> 1
    return crc


def crc8_sht(data: bytes) -> int:
    """CRC-8/NRSC-5, which SHT sensors put behind each word; of "123456789" F7h, of BEEFh 92h."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of a serial line; of "123456789" 29B1h."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021) & 0xFFFF if crc & 0x8000 else crc << 1
    return crc
