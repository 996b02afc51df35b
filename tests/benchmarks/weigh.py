"""Runs a command and says what it took: `python tests/benchmarks/weigh.py NUMBER COMMAND...`.

NUMBER is an open file's, which gets one JSON object. A process of its own, and a small one: after
an exec the kernel's account of a process's most memory still has that of the process which
started it (a benchmark of 350 MB made everything that it ran look as heavy).
"""

import json
import os
import subprocess
import sys
import time

began = time.perf_counter()
process = subprocess.Popen(sys.argv[2:])
_, status, used = os.wait4(process.pid, 0)
took = {
    "seconds": time.perf_counter() - began,
    "cpu_s": used.ru_utime + used.ru_stime,
    "most_mb": used.ru_maxrss * 1024 / 1e6,
}
process.returncode = os.waitstatus_to_exitcode(status)
with os.fdopen(int(sys.argv[1]), "w") as report:
    json.dump(took, report)
sys.exit(process.returncode and 1)
