"""A year at speed in one process: collector's pipeline, journal, sealer, reader and the watch's
evaluations, with clocks moved by hand. Memory, open files and work per step stay flat."""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from statistics import median

import pytest

from analysis.watch.states import Cause, Kind
from collector.backoff import Backoff
from collector.book.records import Placement, Zone
from collector.clock import Clock
from collector.corrections import Corrections
from collector.counts import Counts
from collector.deliveries import Deliveries
from collector.frame import Frame
from collector.haste import Pace
from collector.measured import Measured
from collector.newcomers import Newcomers
from collector.pipeline import Pipeline
from collector.plausible import Judge
from collector.readings import Quantity
from collector.sealer import Sealer
from collector.senml import decode, pack
from config.settings import Plausibility
from tests.analysis.watch.test_watcher import START_MS, Bench
from tests.faults.record import Promise, told

pytestmark = pytest.mark.timeout(7200)

STEP_MIN = 10
A_DAY = 24 * 60 // STEP_MIN
PROBES = ("warm-1", "cool-1", "warm-2", "air-1")
COLD_EVERY_DAYS = 30
MOST_MORE_MB = 4.0
MOST_TIMES_THE_WORK = 1.5


def pipeline_of(bench: Bench) -> Pipeline:
    """The collector's, over the watch's home and clocks."""
    journal, home = bench.stage.journal, bench.stage.home
    now_ms, monotonic = lambda: bench.now_ms, bench.monotonic
    return Pipeline(
        decoders={"serial": lambda frame, now_ms: decode(frame.payload, now_ms)},
        corrections=Corrections([], home.book, monotonic),
        judge=Judge(Plausibility(), {}),
        journal=journal,
        clock=Clock(False, None, now_ms, monotonic, lambda: True),
        counts=Counts(now_ms, monotonic),
        deliveries=Deliveries(journal.receipts()),
        pace=Pace(10.0, home.haste, now_ms=now_ms, monotonic=monotonic),
        newcomers=Newcomers(monotonic=monotonic),
        most_readings=10_000,
        retry=Backoff(1.0, 60.0),
    )


def resident_mb() -> float:
    """What this process has now, MB (10^6 bytes)."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def test_a_year_at_speed(tmp_path: Path, times: Callable[[int, int], int]) -> None:
    days = times(2, 365)
    memory_mb, files, work_s = [], [], []
    bench = Bench(tmp_path / "home")
    bench.stage.enter(
        Placement("cool-1", "Larch", Zone.COOL_SIDE, START_MS - 1),
        Placement("warm-2", "Larch", Zone.WARM_SIDE, START_MS - 1),
        Placement("air-1", "Larch", Zone.HIDE, START_MS - 1),
    )
    journal, home = bench.stage.journal, bench.stage.home
    with closing(bench), closing(Sealer(journal, home.archive, 3600.0, bench.monotonic)) as sealer:
        pipeline = pipeline_of(bench)
        for day in range(days):
            began_s = time.process_time()
            for step in range(A_DAY):
                bench.sleep(STEP_MIN)
                cold = day % COLD_EVERY_DAYS == 1 and 30 <= step < 60
                for number, probe in enumerate(PROBES):
                    celsius = (24.0 if cold and "warm" in probe else 31.0) - number + step % 3 / 16
                    text = pack([Measured(probe, Quantity.TEMPERATURE, celsius)])
                    pipeline.take(Frame("serial", text.encode(), bench.monotonic()))
                pipeline.commit()
                if sealer.due():
                    sealer.seal()
                bench.watcher.cycle()
            work_s.append((time.process_time() - began_s) / A_DAY)
            gc.collect()
            memory_mb.append(resident_mb())
            files.append(len(os.listdir("/proc/self/fd")))  # noqa: PTH208  # counting, no paths
        journal_bytes = home.journal.stat().st_size
        raised = [one for one in bench.transitions() if one.cause is Cause.RAISED]
    quarter = max(1, days // 4)
    more_mb = max(memory_mb[-quarter:]) - max(memory_mb[:quarter])
    ratio = median(work_s[-quarter:]) / median(work_s[:quarter])
    grown = [more_mb >= MOST_MORE_MB, ratio >= MOST_TIMES_THE_WORK, files[-1] != files[0]]
    told(
        Promise.STEADY, f"{days} days at speed, a step of {STEP_MIN} min", tried=days * A_DAY,
        lost=sum(grown), of="figures that grow",
        note=f"last quarter against the first: {more_mb:+.1f} MB, "
        f"{files[-1] - files[0]:+d} open files, {ratio:.2f} times the work a step "
        f"({1000 * median(work_s):.1f} ms)",
    )  # fmt: skip
    low = [one for one in raised if one.key.kind is Kind.WARM_SIDE_LOW]
    assert len(low) == len(range(1, days, COLD_EVERY_DAYS))
    assert more_mb < MOST_MORE_MB
    assert files[-1] == files[0]
    assert ratio < MOST_TIMES_THE_WORK
    assert journal_bytes < 1_000_000
