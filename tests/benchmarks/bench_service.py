"""How many stored forecasts a second are read, and wear days logged, beside a bare hello?

Three programs of one process each run side by side on this machine: a synchronous hello of the same
framework and server with nothing else, and `solespan serve` on SQLite with a fitted rack. Client
processes ask the three in turn, in short rounds, so that whatever else the machine does falls on
all alike; the ratios are medians over the rounds. Bars: read >= 0.30 of the hello, write >= 0.12,
the slowest in a hundred writes <= 60 ms.

Pages, explanations and writes on 2,000 pairs follow, in processor time of this process; see
`tests.benchmarks.processor_times`.
"""

from __future__ import annotations

import http.client
import itertools
import json
import multiprocessing
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from multiprocessing.pool import Pool
from pathlib import Path

from solespan.api.clock import Clock
from solespan.api.services.rack.records import create
from solespan.api.settings import Settings
from solespan.api.storage.schema import prepare
from solespan.api.wiring import Services, build_services
from tests.benchmarks.processor_times import times

TODAY = datetime.now(UTC).date()
PAIRS = 40
# Of one client in one round, so that no two write the same day of a pair; the days of the writes
# that forecast at once lie after those of the others.
WRITES_A_TURN = {"write": 700, "write and forecast": 40}
FIRST_WRITE = {"write": 0, "write and forecast": 10_000}
CLIENTS = 2
# `read`: the stored rows of a rack. `explained read`: of a pair, with what drives its date, which
# is computed at the first read after a write and kept; here writes lie between. It has no bar.
BARS = {"read": 0.30, "explained read": None, "write": 0.12, "write and forecast": None}
P99_BAR_MS = 60.0

HELLO = """
import socket, sys, uvicorn
from fastapi import FastAPI
app = FastAPI()
@app.get("/")
def hello():
    return {"hello": "world"}
listening = socket.create_server(("127.0.0.1", int(sys.argv[1])))
uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False)).run(sockets=[listening])
"""
SERVE = "from solespan.api.cli.main import main; main()"
Job = tuple[int, str, int, float]


def _fill(address: str) -> None:
    """One rack in a database of its own."""
    noon = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)
    services = build_services(Settings(database_url=address), Clock(lambda: noon))
    prepare(services.database)
    fill_rack(services)
    services.database.close()


def fill_rack(services: Services) -> None:
    """Write a tenant's rack of pairs that were worn and read, fitted and forecast."""
    with services.database.writing() as session:

        def add(table: str, **values: object) -> None:
            create(session, table, values, services.clock)

        for wearer in range(PAIRS // 4):
            add("wearers", wearer_id=f"w{wearer}", time_zone="UTC")
        for pair in range(PAIRS):
            pair_id = f"p{pair}"
            add("pairs", pair_id=pair_id, wearer_id=f"w{pair // 4}", construction="blake")
            add(
                "soles",
                sole_id=f"{pair_id}-1",
                pair_id=pair_id,
                fitted_on=TODAY - timedelta(days=720),
                material="oak_bark_leather",
                nominal_thickness_mm=5.0,
            )
            for day in range(0, 390, 6):
                worn_on = TODAY - timedelta(days=705 - day)
                add("wear_days", pair_id=pair_id, worn_on=worn_on, surface="pavement", wet=False)
            for days, value_mm in ((700, 5.0), (500, 4.6), (310, 4.2)):
                for foot in ("left", "right"):
                    add(
                        "checks",
                        pair_id=pair_id,
                        checked_on=TODAY - timedelta(days=days),
                        foot=foot,
                        point="ball",
                        method="caliper",
                        value_mm=value_mm,
                    )
    services.fitter.refit()
    services.forecaster.update_behind(everyone=True)


@contextmanager
def _program(source: str, *arguments: str, port: int, **more: str) -> Iterator[None]:
    env = {name: value for name, value in os.environ.items() if not name.startswith("SOLESPAN_")}
    process = subprocess.Popen([sys.executable, "-c", source, *arguments], env=env | more)
    try:
        for _ in range(3000):  # a machine that others use takes minutes
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.1)
        else:
            raise RuntimeError("the program did not start")
        yield
    finally:
        process.terminate()
        process.wait(30)


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def _requests(kind: str, start: int) -> Iterator[tuple[str, str, bytes | None]]:
    """What one client asks: reads go round the pairs, every write is of a new day."""
    for number in itertools.islice(itertools.count(start), WRITES_A_TURN.get(kind)):
        pair_id = f"p{number % PAIRS}"
        if kind == "hello":
            yield "GET", "/", None
        elif kind == "read":
            yield "GET", f"/v1/forecasts?wearer_id=w{number % PAIRS // 4}&foot=pair", None
        elif kind == "explained read":
            yield "GET", f"/v1/forecasts/{pair_id}", None
        else:
            day = TODAY - timedelta(days=300 - number // PAIRS)
            body = {"pair_id": pair_id, "worn_on": day.isoformat(), "wet": True}
            path = "/v1/wear-days" + ("?forecast=later" if kind == "write" else "")
            yield "POST", path, json.dumps(body).encode()


def _ask(job: Job) -> list[float]:
    """Ask over one kept connection for some seconds; return what each took, in seconds."""
    port, kind, start, seconds = job
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {"content-type": "application/json"}
    took = []
    until = time.perf_counter() + seconds
    for method, path, body in _requests(kind, start):
        begun = time.perf_counter()
        if begun >= until:
            break
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        told = answer.read()
        if answer.status not in (200, 201):
            raise RuntimeError(f"{kind}: {answer.status} {told[:200]!r}")
        took.append(time.perf_counter() - begun)
    connection.close()
    return took


def _first(kind: str) -> int:
    return FIRST_WRITE.get(kind, 0)


def _round(clients: Pool, port: int, kind: str, turn: int, seconds: float) -> list[list[float]]:
    jobs = [
        (port, kind, _first(kind) + (turn * CLIENTS + client) * WRITES_A_TURN.get(kind, 1), seconds)
        for client in range(CLIENTS)
    ]
    return clients.map(_ask, jobs, chunksize=1)


def _row(name: str, value: float, unit: str, note: str = "") -> dict[str, object]:
    return {"name": name, "value": value, "unit": unit, "note": note}


def run(quick: bool) -> list[dict[str, object]]:
    """Measure; `quick` takes fewer and shorter rounds."""
    rounds, seconds = (3, 1.0) if quick else (6, 2.0)
    ports = _free_port(), _free_port()
    took: dict[str, list[list[list[float]]]] = {
        kind: [] for kind in ("hello", "read", "explained read", "write", "write and forecast")
    }
    load = os.getloadavg()[0]
    with (
        multiprocessing.get_context("fork").Pool(CLIENTS) as clients,
        tempfile.TemporaryDirectory() as folder,
    ):
        address = f"sqlite:///{folder}/service.sqlite3"
        _fill(address)
        settings = {"SOLESPAN_DATABASE_URL": address, "SOLESPAN_LOG_LEVEL": "error"}
        with (
            _program(HELLO, str(ports[0]), port=ports[0]),
            _program(SERVE, "serve", "--port", str(ports[1]), port=ports[1], **settings),
        ):
            for kind in took:  # a warm-up that is not counted
                _round(clients, ports[kind != "hello"], kind, rounds, 1.0)
            for turn in range(rounds):
                for kind, seen in took.items():
                    seen.append(_round(clients, ports[kind != "hello"], kind, turn, seconds))
        return _told(took, load) + _pages(Path(folder), quick=quick)


def _pages(folder: Path, *, quick: bool) -> list[dict[str, object]]:
    n_pairs = 200 if quick else 2000
    found = times(folder, n_pairs=n_pairs, times_each=5 if quick else 25)
    return [
        _row(name, value_ms, "ms", f"processor, {n_pairs} pairs, bar {bar_ms:g}")
        for name, value_ms, bar_ms in found
    ]


def _told(took: dict[str, list[list[list[float]]]], load: float) -> list[dict[str, object]]:
    rate = {
        kind: [sum(len(one) / sum(one) for one in turn) for turn in turns]
        for kind, turns in took.items()
    }
    note = f"{CLIENTS} client processes, {len(rate['hello'])} rounds, load before {load:.1f}"
    rows = [_row("bare sync hello", statistics.median(rate["hello"]), "1/s", note)]
    for kind, bar in BARS.items():
        pairs = zip(rate[kind], rate["hello"], strict=True)
        ratios = [mine / hello for mine, hello in pairs]
        spread = f"rounds {min(ratios):.3f} to {max(ratios):.3f}"
        spread += f", bar {bar:.2f}" if bar else ""
        rows.append(_row(f"{kind} a second", statistics.median(rate[kind]), "1/s"))
        rows.append(_row(f"{kind} beside hello", statistics.median(ratios), "ratio", spread))
    slowest = sorted(took for turn in took["write"] for one in turn for took in one)
    p99 = slowest[min(len(slowest) - 1, int(0.99 * len(slowest)))] * 1000
    rows.append(_row("write, slowest in a hundred", p99, "ms", f"bar {P99_BAR_MS:.0f}"))
    return rows
