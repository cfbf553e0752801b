"""How long, and in how much memory, from an import of many pairs to their stored forecasts?

Three pairs a wearer, 60 wear days and 12 readings a pair (`synthetic_data.panel`). Each step is a
process of its own, on SQLite and on a PostgreSQL that is started for it and does not sync. Seconds
of the processor are those of the step's process; by the clock the server's work is in them too.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from solespan.api.clock import Clock
from solespan.api.services.forecasts import forecasting
from solespan.api.services.importing.imports import import_folder
from solespan.api.settings import Settings
from solespan.api.storage.schema import prepare
from solespan.api.wiring import Services, build_services
from solespan.synthetic_data.panel import PAIRS_PER_WEARER, panel
from tests.databases import SqliteFiles, on_server

Row = dict[str, object]
Told = dict[str, float]
PAIRS = (5_000, 20_000)
NOON = datetime(2026, 11, 23, 12, tzinfo=UTC)
ROOT = Path(__file__).parents[2]
BIG = ("wearers", "pairs", "soles", "wear_days", "checks", "forecasts", "record_changes")


def run(quick: bool, pairs: list[int] | None = None) -> list[Row]:
    """Rows of each step, and of what a pair takes, by number of pairs and kind of database."""
    rows: list[Row] = []
    for many in pairs or (PAIRS[:1] if quick else PAIRS):
        with tempfile.TemporaryDirectory() as folder:
            _write_log(many, Path(folder))
            for kind, address in _databases(Path(folder)):
                told = {}
                for step in STEPS:
                    told[step] = _in_process(step, address, folder)
                    sys.stderr.write(f"{many:,} pairs, {kind}, {step}: {told[step]}\n")
                rows += _told(f"{many:,} pairs, {kind}", many, told)
    return rows


def _write_log(pairs: int, folder: Path) -> None:
    frames, _ = panel(-(-pairs // PAIRS_PER_WEARER), np.random.default_rng(pairs))
    for name, frame in frames.items():
        if len(frame):
            frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")


def _databases(folder: Path) -> Iterator[tuple[str, str]]:
    """Give a database of each kind; without a server the second is left out."""
    yield "SQLite", SqliteFiles(folder).copy()
    import importlib.util

    spec = importlib.util.spec_from_file_location("pg", ROOT / "tests" / "postgres_server.py")
    assert spec is not None
    assert spec.loader is not None
    server = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(server)
    try:
        with server.running_server() as address, on_server(address) as databases:
            yield "PostgreSQL", databases.copy()
    except server.NoServer as reason:
        sys.stderr.write(f"no PostgreSQL: {reason}\n")


def _in_process(step: str, address: str, folder: str) -> Told:
    command = [sys.executable, "-m", "tests.benchmarks.bench_scale", step, address, folder]
    env = {name: value for name, value in os.environ.items() if not name.startswith("SOLESPAN_")}
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=env)
    told: Told = json.loads(done.stdout.splitlines()[-1])
    return told


def _import(services: Services, folder: Path) -> Told:
    report = import_folder(services.database, folder, today=services.clock.today)
    assert report.written
    return {}


def _fit(services: Services, _folder: Path) -> Told:
    services.fitter.refit()
    return {}


def _forecast(services: Services, _folder: Path) -> Told:
    """Make and write all forecasts, and say what of it was reading, computing and writing."""
    spent = {"computed_s": 0.0, "written_s": 0.0}

    def timed(function: Callable[..., Any], name: str) -> Callable[..., Any]:
        def one(*args: Any, **more: Any) -> Any:
            begun = time.perf_counter()
            try:
                return function(*args, **more)
            finally:
                spent[name] += time.perf_counter() - begun

        return one

    forecasting._frame_of = timed(forecasting._frame_of, "computed_s")
    forecasting.replace_forecasts = timed(forecasting.replace_forecasts, "written_s")
    before = _log_bytes(services)
    services.forecaster.update_behind(everyone=True)
    return spent | {"log_bytes": _log_bytes(services) - before}


def _again(services: Services, folder: Path) -> Told:
    """The next day: the same once more, over rows that are there."""
    return _forecast(services, folder)


def _idle(services: Services, _folder: Path) -> Told:
    """One round of the background that finds nothing to do."""
    statements: list[str] = []
    sa.event.listen(
        services.database.engine,
        "before_cursor_execute",
        lambda *given: statements.append(given[2]),
    )
    begun = time.perf_counter()
    services.refitter._is_due()
    spent = time.perf_counter() - begun
    return {"statements": float(len(statements)), "asked_s": spent} | _sizes(services)


def _log_bytes(services: Services) -> float:
    """Bytes that PostgreSQL has written ahead; 0 on SQLite."""
    if services.database.engine.dialect.name != "postgresql":
        return 0.0
    with services.database.engine.connect() as connection:
        query = "SELECT pg_current_wal_insert_lsn() - '0/0'::pg_lsn"
        return float(connection.exec_driver_sql(query).scalar_one())


def _sizes(services: Services) -> Told:
    """Bytes of the whole database and of its big tables with their indexes, and their rows."""
    on_sqlite = services.database.engine.dialect.name == "sqlite"
    told: Told = {}
    with services.database.engine.connect() as connection:

        def ask(query: str) -> float:
            return float(connection.exec_driver_sql(query).scalar_one() or 0)

        if not on_sqlite:  # row-level security shows no rows to nobody
            connection.exec_driver_sql("SELECT set_config('app.tenant', '1', true)")
        for name in BIG:
            told[f"rows {name}"] = ask(f"SELECT count(*) FROM {name}")
            if not on_sqlite:
                told[f"bytes {name}"] = ask(f"SELECT pg_total_relation_size('{name}')")
        if on_sqlite:
            told["bytes"] = ask("PRAGMA page_count") * ask("PRAGMA page_size")
        else:
            told["bytes"] = ask("SELECT pg_database_size(current_database())")
    return told


STEPS: dict[str, Callable[[Services, Path], Told]] = {
    "import": _import,
    "fit": _fit,
    "forecast": _forecast,
    "forecast again": _again,
    "idle": _idle,
}


@contextmanager
def _services(address: str) -> Iterator[Services]:
    services = build_services(Settings(database_url=address), Clock(lambda: NOON))
    prepare(services.database)
    yield services
    services.database.close()


def main(step: str, address: str, folder: str) -> None:
    """Do one step and print what it took."""
    with _services(address) as services:
        cpu, clock = time.process_time(), time.perf_counter()
        told = STEPS[step](services, Path(folder))
        told |= {"cpu_s": time.process_time() - cpu, "clock_s": time.perf_counter() - clock}
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(json.dumps(told | {"peak_mib": peak}) + "\n")


def _told(title: str, pairs: int, told: dict[str, Told]) -> list[Row]:
    rows = []
    for step in ("import", "fit", "forecast", "forecast again"):
        one = told[step]
        words = [f"{one['clock_s']:.1f} by the clock", f"peak {one['peak_mib']:.0f} MiB"]
        words.append(f"{1000 * one['cpu_s'] / pairs:.2f} s a 1,000 pairs")
        if "written_s" in one:
            rest = one["clock_s"] - one["computed_s"] - one["written_s"]
            words.append(
                f"computed {one['computed_s']:.1f}, written {one['written_s']:.1f}, rest {rest:.1f}"
            )
        if one.get("log_bytes"):
            words.append(f"{one['log_bytes'] / pairs:,.0f} bytes of log a pair")
        rows.append(_row(f"{title}: {step}", one["cpu_s"], "s", "; ".join(words)))
    idle = told["idle"]
    words = f"{idle['statements']:.0f} statements"
    rows.append(_row(f"{title}: round without work", 1000 * idle["asked_s"], "ms", words))
    each = ", ".join(
        f"{name} {idle[f'rows {name}'] / pairs:.2f}"
        + (f" ({idle[f'bytes {name}'] / pairs:,.0f} B)" if f"bytes {name}" in idle else "")
        for name in BIG
    )
    rows.append(_row(f"{title}: a pair", idle["bytes"] / pairs, "bytes", f"rows a pair: {each}"))
    return rows


def _row(name: str, value: float, unit: str, note: str) -> Row:
    return {"name": name, "value": float(value), "unit": unit, "note": note}


if __name__ == "__main__":
    main(*sys.argv[1:])
