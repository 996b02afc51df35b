"""The firmware of a node: sensors on a small board, spoken as SenML over USB serial or MQTT.

MicroPython, for boards with an ESP32 or an RP2040 and Wi-Fi. Only `pins` knows pins, Wi-Fi and
the watchdog; everything else runs wherever MicroPython runs, and is tested so.

crc, words          checksums; what a sensor says: readings and faults, in whole numbers
one_wire, ds18b20   the 1-Wire line: search, conversion, scratchpad
sht                 SHT3x and SHT4x
senml, serial_line  packs, and packs as lines
ring                readings that wait for the broker: bounded, and what is lost is counted
faults              which faults are to be said, and when again
clock, sntp         a clock that never steps; the time of day
datagram, names     questions in one datagram; addresses of names, without blocking
packets, mqtt       MQTT 3.1.1, as much of it as a node needs
publisher, talker   the two ways out: broker and serial line
settings            node.json, checked
beats               who is alive, for the watchdog
node                puts it together
pins, main          the board itself; what starts the node on it
"""
