"""Processor times: how long do pages, explanations and writes take on 2,000 pairs?

The service runs in this process and is asked without a network, so that only its own work counts,
whatever else the machine does.
"""

from __future__ import annotations

import asyncio
import json
import statistics
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import sqlalchemy as sa
from fastapi import FastAPI

from solespan.api.app import create_app
from solespan.api.clock import Clock
from solespan.api.logs import configure_logs
from solespan.api.services.importing.imports import import_folder
from solespan.api.settings import Settings
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.synthetic_data.__main__ import write_folder
from solespan.synthetic_data.scenarios import world

TODAY = date(2026, 11, 30)
HOST = b"127.0.0.1:8000"
SEED = 5
Asked = tuple[str, str, bytes]


def times(folder: Path, *, n_pairs: int, times_each: int) -> list[tuple[str, float, float]]:
    """Return what is asked, its median processor time in ms, and its bar in ms."""
    configure_logs("error")
    address = f"sqlite:///{folder}/shop.sqlite3"
    app = create_app(
        Settings(database_url=address),
        clock=Clock(lambda: datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)),
        background=False,
    )
    return asyncio.run(_measured(app, folder, n_pairs, times_each))


async def _measured(
    app: FastAPI, folder: Path, n_pairs: int, times_each: int
) -> list[tuple[str, float, float]]:
    async with app.router.lifespan_context(app):
        pairs, wearers = _fill(app, folder / "logs", n_pairs)

        def page(address: str) -> Callable[[int], Asked]:
            return lambda _: ("GET", address, b"")

        def explained(number: int) -> Asked:
            return "GET", f"/v1/forecasts/{pairs[53 * number % len(pairs)]}", b""

        def planned(number: int) -> Asked:
            return "GET", f"/plan?wearer={wearers[7 * number % len(wearers)]}", b""

        def worn(number: int) -> Asked:
            day = TODAY - timedelta(days=number % 3)
            body = {"pair_id": pairs[(37 * number + 11) % len(pairs)], "worn_on": day.isoformat()}
            return "POST", "/v1/wear-days", json.dumps(body | {"wet": True}).encode()

        wanted: list[tuple[str, Callable[[int], Asked], float]] = [
            ("/", page("/"), 60.0),
            ("/ of one band", page("/?band=watch"), 60.0),
            ("/rotation", page("/rotation"), 60.0),
            ("/plan", planned, 60.0),
            ("explanation, of a pair not asked for before", explained, 15.0),
            ("write with its forecast", worn, 12.5),
        ]
        return [
            (name, await _median_ms(app, asked, times_each), bar_ms)
            for name, asked, bar_ms in wanted
        ]


def _fill(app: FastAPI, logs: Path, n_pairs: int) -> tuple[list[str], list[str]]:
    """Import, fit and forecast a shop; return its pairs that are worn, and their wearers."""
    services = app.state.services
    write_folder(world("score_world", SEED, as_of=TODAY.isoformat(), n_pairs=n_pairs).frames, logs)
    import_folder(services.database, logs, today=lambda _zone: TODAY)
    services.fitter.refit(TODAY)
    services.forecaster.update_behind(everyone=True)
    with services.database.reading() as session:
        rows = session.execute(sa.select(Pair.pair_id, Wearer.wearer_id).join(Pair.wearer)).all()
    return [row[0] for row in rows], sorted({row[1] for row in rows})


async def _median_ms(app: FastAPI, asked: Callable[[int], Asked], count: int) -> float:
    """Ask and take the median; what the service refuses, as a day that is logged, is left out."""
    took: list[float] = []
    number = 0
    while len(took) <= count:  # the first is a warm-up
        begun = time.process_time()
        status = await _ask(app, *asked(number))
        if status in (200, 201):
            took.append(1000.0 * (time.process_time() - begun))
        number += 1
        if number > 20 * (count + 1):
            raise RuntimeError(f"{asked(0)}: refused too often, last with {status}")
    return statistics.median(took[1:])


async def _ask(app: FastAPI, method: str, address: str, body: bytes) -> int:
    path, _, query = address.partition("?")
    sent: list[dict[str, object]] = []
    given = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> dict[str, object]:
        if given:
            return given.pop()
        return await asyncio.Event().wait()  # type: ignore[return-value]

    async def send(message: dict[str, object]) -> None:
        sent.append(message)

    headers = [(b"host", HOST)]
    if body:
        headers += [(b"content-type", b"application/json")]
        headers += [(b"content-length", str(len(body)).encode())]
    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": headers,
        "scheme": "http",
        "server": ("127.0.0.1", 8000),
        "client": ("127.0.0.1", 1),
        "root_path": "",
        "state": {},
    }
    await app(scope, receive, send)  # type: ignore[arg-type]
    return int(str(sent[0]["status"]))
