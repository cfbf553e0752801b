"""How long do notices for 100,000 pairs take to decide, and how many a second leave by SMTP?

Decisions are measured alone and with all that is read and written around them, in processor time;
sending by the clock, to an SMTP server on this machine, one worker, every mark synced to disk.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime

import numpy as np
import pandas as pd
from sqlalchemy import select

from solespan.api.clock import Clock
from solespan.api.logs import configure_logs
from solespan.api.notices.decide import CUSTOMER_COLUMNS, PAIR_COLUMNS, decide
from solespan.api.services.notices.choices import change_rules
from solespan.api.services.notices.deciding import preview
from solespan.api.services.notices.deciding import run as decide_and_write
from solespan.api.services.notices.sending import Sender
from solespan.api.settings import Settings
from solespan.api.storage.importing.bulk import insert_rows, pks_by_id
from solespan.api.storage.schema import prepare
from solespan.api.storage.tables.notices import Consent
from solespan.api.storage.tables.rack import Sole
from solespan.api.storage.tables.results import ForecastRow
from solespan.api.wiring import Services, build_services
from tests.api.notices.people import RULES, SECRET, forecast_row

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
DAY = NOW.date()


def _shop(folder: str, port: int) -> Services:
    settings = Settings(
        database_url=f"sqlite:///{folder}/shop.sqlite3",
        secret_key=SECRET,
        public_address="https://shop.example",
        smtp_host="127.0.0.1",
        smtp_port=port,
        smtp_security="plain",
        smtp_from="bench@shop.example",
    )
    services = build_services(settings, Clock(lambda: NOW))
    prepare(services.database)
    with services.database.writing() as session:
        change_rules(session, RULES, None)
    return services


def _fill(services: Services, pairs: int, *, a_customer: int, due_share: float) -> None:
    """Write customers who agreed, with so many pairs each, some of them due."""
    rng = np.random.default_rng(1)
    customers = [f"c{i:06d}" for i in range(-(-pairs // a_customer))]
    ids = [f"p{i:06d}" for i in range(pairs)]
    with services.database.writing() as session:
        insert_rows(
            session,
            "wearers",
            [
                {"wearer_id": w, "name": w, "email": f"{w}@mail.example", "time_zone": "UTC"}
                for w in customers
            ],
        )
        pks = pks_by_id(session, "wearers", customers)
        owners = [pks[customers[i // a_customer]] for i in range(pairs)]
        rows = [
            {"pair_id": p, "wearer_pk": w, "label": f"Derby {p}", "construction": "blake"}
            | {"wears_per_week": 2.0}
            for p, w in zip(ids, owners, strict=True)
        ]
        insert_rows(session, "pairs", rows)
        known = pks_by_id(session, "pairs", ids)
        soles = [
            {
                "sole_id": f"{p}-sole",
                "pair_pk": known[p],
                "fitted_on": DAY.replace(year=2025),
                "material": "rubber",
                "nominal_thickness_mm": 5.0,
            }
            for p in ids
        ]
        insert_rows(session, "soles", soles)
        sole_pks = dict(session.execute(select(Sole.sole_id, Sole.id)).tuples().all())
        days = np.where(rng.random(pairs) < due_share, 10, rng.integers(120, 1200, pairs))
        forecasts = []
        for p, d in zip(ids, days, strict=True):
            row = forecast_row(p, int(d))
            row |= {k: v.date() for k, v in row.items() if isinstance(v, pd.Timestamp)}
            row |= {"pair_pk": known[p], "sole_pk": sole_pks[f"{p}-sole"], "data_version": 0}
            forecasts.append({k: v for k, v in row.items() if k not in ("pair_id", "sole_id")})
        session.execute(ForecastRow.__table__.insert(), forecasts)
        consent = {"channel": "mail", "given_at": NOW, "given_how": "x", "given_by": "x"}
        session.execute(
            Consent.__table__.insert(), [consent | {"wearer_pk": pks[w]} for w in customers]
        )


def _row(name: str, value: float, unit: str, note: str = "") -> dict[str, object]:
    return {"name": name, "value": value, "unit": unit, "note": note}


def run(quick: bool) -> list[dict[str, object]]:
    """Measure; `quick` takes a tenth of the pairs and fewer mails."""
    configure_logs("error")
    pairs = 10_000 if quick else 100_000
    return [*_deciding(pairs), *_sending(100 if quick else 500)]


def _deciding(pairs: int) -> list[dict[str, object]]:
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        shop = _shop(folder, 9)
        _fill(shop, pairs, a_customer=3, due_share=0.05)
        begun = time.process_time()
        seen = preview(shop)
        note = f"SQLite, {len(seen.customers)} customers: read, decide, every pair's reason"
        rows.append(_row(f"look at {pairs} pairs", time.process_time() - begun, "s CPU", note))
        given = seen.pairs[list(PAIR_COLUMNS)], seen.customers[list(CUSTOMER_COLUMNS)]
        begun = time.process_time()
        decide(*given, seen.rules)
        rows.append(_row(f"decide {pairs} pairs", time.process_time() - begun, "s CPU", "alone"))
        begun, clock = time.process_time(), time.perf_counter()
        report = decide_and_write(shop)
        cpu, wall = time.process_time() - begun, time.perf_counter() - clock
        note = f"{report.notices} notices about {report.pairs} pairs in the outbox, {wall:.1f} s"
        rows.append(_row(f"run over {pairs} pairs", cpu, "s CPU", note))
        shop.database.close()
    return rows


@contextmanager
def _server() -> Iterator[int]:
    """Run an SMTP server that takes everything, as a process of its own; give its port."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    sink = ["-n", "-c", "aiosmtpd.handlers.Sink", "-l", f"127.0.0.1:{port}"]
    server = subprocess.Popen([sys.executable, "-m", "aiosmtpd", *sink])
    try:
        for _ in range(200):
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            time.sleep(0.05)
        yield port
    finally:
        server.terminate()
        server.wait(10)


def _sending(mails: int) -> list[dict[str, object]]:
    with tempfile.TemporaryDirectory() as folder, _server() as port:
        shop = _shop(folder, port)
        _fill(shop, mails, a_customer=1, due_share=1.0)
        decide_and_write(shop)
        sender = Sender(shop, worker="one", chance=lambda: 0.5)
        begun, cpu = time.perf_counter(), time.process_time()
        sent = sender.drain()
        wall, cpu = time.perf_counter() - begun, time.process_time() - cpu
        shop.database.close()
    if sent.sent != mails:
        raise RuntimeError(f"{sent} of {mails}")
    note = f"{mails} mails, one worker, {1000 * cpu / mails:.1f} ms CPU each, synced at each mark"
    return [_row("notices sent by SMTP", mails / wall, "1/s", note)]
