"""The simulated rack: enclosures and probes that behave, and fail, like real ones.

room, enclosure, probe   the physics, seeded: no clock, no I/O
faults, layout, rack     what is there, what goes wrong with it, and the readings that follow
command                  one line of text that makes something go wrong now
speak                    the readings over a real pty and real MQTT
broker                   an MQTT broker for the demo and the tests
"""
