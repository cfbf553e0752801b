"""By how much does a hostile shop slow down the pages of another, on the same server?

One `solespan serve` holds two shops. Rounds with the hostile one at work alternate with quiet ones,
so that whatever else the machine does falls on both; the ratio is that of the 99th percentiles of
all quiet and all hostile rounds. Bar: 1.20, on a machine with a processor to spare.
"""

from __future__ import annotations

import os
import statistics
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.pool import Pool

from tests.api.notices.people import SECRET
from tests.benchmarks.bench_service import SERVE, _free_port, _program, _row
from tests.benchmarks.two_shops import ask_pages, attacked, fill, silent_server

P99_RATIO_BAR = 1.20
SLOWEST = 0.99


@contextmanager
def serving() -> Iterator[tuple[int, str, str]]:
    """Run a server of two shops; give its port, and the honest and the hostile one's key."""
    port = _free_port()
    with silent_server() as silent, tempfile.TemporaryDirectory() as folder:
        address = f"sqlite:///{folder}/shops.sqlite3"
        keys = fill(address, f"http://127.0.0.1:{silent}/")
        settings = {
            "SOLESPAN_DATABASE_URL": address,
            "SOLESPAN_ACCOUNTS": "true",
            "SOLESPAN_LOG_LEVEL": "error",
            "SOLESPAN_SECRET_KEY": SECRET,
            "SOLESPAN_PUBLIC_ADDRESS": f"http://127.0.0.1:{port}",
            "SOLESPAN_SMTP_HOST": "127.0.0.1",
            "SOLESPAN_SMTP_PORT": str(silent),
            "SOLESPAN_SMTP_SECURITY": "plain",
            "SOLESPAN_SMTP_FROM": "bench@shop.example",
            "SOLESPAN_WEBHOOK_PRIVATE_ADDRESSES": "true",
        }
        with _program(SERVE, "serve", "--port", str(port), port=port, **settings):
            yield port, *keys


def p99_ms(took: list[float]) -> float:
    """Return the slowest in a hundred, in milliseconds."""
    return sorted(took)[min(len(took) - 1, int(SLOWEST * len(took)))] * 1000


def run(quick: bool) -> list[dict[str, object]]:
    """Measure; `quick` takes fewer and shorter rounds."""
    rounds, seconds = (2, 4.0) if quick else (6, 10.0)
    took: dict[str, list[list[float]]] = {"quiet": [], "hostile": []}
    done: dict[str, int] = {}
    load = os.getloadavg()[0]
    with get_context("fork").Pool(1) as clients, serving() as (port, honest, hostile):
        _asked(clients, port, honest, 2.0)  # a warm-up that is not counted
        for _ in range(rounds):
            took["quiet"].append(_asked(clients, port, honest, seconds))
            with attacked(port, hostile, done):
                took["hostile"].append(_asked(clients, port, honest, seconds))
    return _told(took, done, load)


def _asked(clients: Pool, port: int, key: str, seconds: float) -> list[float]:
    return clients.apply(ask_pages, (port, key, seconds))


def _told(
    took: dict[str, list[list[float]]], done: dict[str, int], load: float
) -> list[dict[str, object]]:
    p99 = {kind: p99_ms([one for turn in turns for one in turn]) for kind, turns in took.items()}
    counts = {kind: sum(map(len, turns)) for kind, turns in took.items()}
    rows = [
        _row(f"pages, slowest in a hundred, {kind}", p99[kind], "ms", f"{counts[kind]} pages")
        for kind in took
    ]
    by_round = [
        p99_ms(mine) / p99_ms(quiet)
        for mine, quiet in zip(took["hostile"], took["quiet"], strict=True)
    ]
    attacks = ", ".join(f"{name} {count}" for name, count in sorted(done.items()))
    note = f"rounds {min(by_round):.2f} to {max(by_round):.2f}, bar {P99_RATIO_BAR:.2f}; {attacks}"
    rows.append(_row("hostile beside quiet, p99", p99["hostile"] / p99["quiet"], "ratio", note))
    middle = {
        kind: statistics.median(x for turn in turns for x in turn) for kind, turns in took.items()
    }
    note = f"load before {load:.1f}"
    rows.append(_row("the same, median", middle["hostile"] / middle["quiet"], "ratio", note))
    return rows
