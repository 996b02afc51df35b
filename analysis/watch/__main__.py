"""`python -m analysis.watch --home DIR`: the watch, until stopped.

Exit codes: 0 asked to stop; 1 no such home, or a watch runs already; 2 settings that cannot be
used; 3 the alarm file cannot be used; 70 something unexpected.
"""

import sys

# asyncio (which apscheduler loads, and this process never uses) and hashlib would bring in
# OpenSSL: 5 MB of a process that should stay under 45 and opens no connection, unless the readings
# are in an InfluxDB (see `process.watch`). None in sys.modules is what the import system takes as
# "there is none"; both do without it.
for _name in ("ssl", "_hashlib"):
    sys.modules.setdefault(_name, None)  # type: ignore[arg-type]

from analysis.watch.process import main  # noqa: E402

if __name__ == "__main__":
    sys.exit(main())
