"""The web page: see a meal at a glance, on a phone in the dark.

    app        create_app: the parts put together
    looking    one request's view of the home: book (read-only), readings, alarms, the moment
    showing    templates, and the words and pictures they may use
    screens/   one module and one template for each screen; found by themselves
    api/       what programs ask: JSON, health, metrics; found by themselves
    access/    who may look: pass phrase, sessions, tokens, and what every request must satisfy

A crash here costs no alarm and no reading: it is a process of its own that meets the others only
in the files.
"""
