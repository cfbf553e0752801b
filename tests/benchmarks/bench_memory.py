"""Does the memory of a server stay flat under a load of half an hour?

The load is that of the two shops: pages of the honest one, everything of the hostile one. The
resident memory of `solespan serve` is looked at each second. The first third warms caches up and is
not judged; the median of the last third stands beside that of the middle one. Bar: within 5 %.
`--minutes 3` makes it shorter.
"""

from __future__ import annotations

import os
import statistics
import threading
import time
from pathlib import Path

from tests.benchmarks.bench_hostile import serving
from tests.benchmarks.bench_service import _row
from tests.benchmarks.two_shops import ask_pages, attacked

FLAT_BAR = 0.05


def _server_pid() -> int:
    """Return the number of the only server that this process started."""
    me = os.getpid()
    for path in Path("/proc").glob("[0-9]*"):
        stat = path.joinpath("stat").read_text() if path.joinpath("stat").exists() else ""
        parent = stat.rpartition(")")[2].split()[1:2]
        if parent == [str(me)] and b"serve" in path.joinpath("cmdline").read_bytes():
            return int(path.name)
    raise RuntimeError("the server is not there")


def _resident_mib(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def run(quick: bool, minutes: float = 30.0) -> list[dict[str, object]]:
    """Measure for so many minutes; `quick` for one."""
    seconds = 60.0 if quick else 60.0 * minutes
    seen: list[float] = []
    done: dict[str, int] = {}
    over = threading.Event()

    with serving() as (port, honest, hostile), attacked(port, hostile, done):
        pid = _server_pid()

        def look() -> None:
            while not over.wait(1.0):
                seen.append(_resident_mib(pid))

        looker = threading.Thread(target=look, daemon=True)
        looker.start()
        begun, asked = time.perf_counter(), 0
        while time.perf_counter() - begun < seconds:
            asked += len(ask_pages(port, honest, min(10.0, seconds)))
        over.set()
        looker.join()
    third = len(seen) // 3
    middle, last = statistics.median(seen[third : 2 * third]), statistics.median(seen[2 * third :])
    attacks = ", ".join(f"{name} {count}" for name, count in sorted(done.items()))
    note = f"{len(seen)} looks in {seconds / 60:.1f} minutes; {asked} pages; {attacks}"
    return [
        _row("resident memory, last third", last, "MiB", note),
        _row("most of it", max(seen), "MiB", f"first third {statistics.median(seen[:third]):.0f}"),
        _row("growth, last beside middle third", last / middle - 1, "share", f"bar {FLAT_BAR}"),
    ]
