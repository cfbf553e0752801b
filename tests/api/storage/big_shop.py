"""How does a test get a shop of 10,000 pairs in seconds? Its rows are written in bulk."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

import solespan.api.storage.tables.notices
import solespan.api.storage.tables.planning  # noqa: F401 - so that every table is known
from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.session import Database
from solespan.api.storage.tables.rack import Root

TODAY = date(2026, 6, 15)
NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)
PAIRS_OF_A_WEARER = 4
ROWS_AT_ONCE = 5_000
DAYS_OF_WEAR = 3
POINTS = ("ball", "toe", "heel")
Rows = Iterator[dict[str, Any]]


def fill(database: Database, pairs: int, fit_pk: int | None = None) -> None:
    """Add so many pairs with what is logged of them, current forecasts, and orders of some."""
    with database.writing() as session:
        wearers = _put(session, "wearers", _wearers(pairs // PAIRS_OF_A_WEARER))
        pks = _put(session, "pairs", _pairs(wearers))
        soles = _put(session, "soles", (_sole(n, pk) for n, pk in enumerate(pks)))
        _put(session, "wear_days", (row for pk in pks for row in _wear_days(pk)))
        _put(session, "checks", (_check(pk, foot) for pk in pks for foot in ("left", "right")))
        _put(session, "bench_jobs", (_job(n, pk) for n, pk in enumerate(pks)))
        _put(session, "bench_orders", (_order(n, pk) for n, pk in enumerate(pks) if n % 5 == 0))
        _put(session, "due_outcomes", (_outcome(pk) for n, pk in enumerate(pks) if n % 4 == 0))
        both = list(zip(pks, soles, strict=True))
        _put(
            session,
            "forecasts",
            (row for n, of in enumerate(both) for row in _forecasts(n, *of, fit_pk)),
        )
        notices = _put(session, "notices", (_notice(pk) for pk in wearers))
        _put(session, "notice_pairs", (_told(n, notices, pk) for n, pk in enumerate(pks)))
        _put(session, "outbox", (_letter(n, pk) for n, pk in enumerate(notices)))
        _put(session, "consents", (_consent(pk) for pk in wearers))


def _put(session: Session, name: str, rows: Rows) -> list[int]:
    """Write rows; return their numbers, which nobody else gets meanwhile."""
    table = Root.metadata.tables[name]
    last = session.scalar(sa.select(sa.func.max(table.c.id))) or 0
    if session.get_bind().dialect.name == "postgresql":
        numbers = sa.func.pg_get_serial_sequence(name, "id")
        last = session.scalar(sa.select(sa.func.nextval(numbers))) or 0
    whole = [{"id": last + number, **row} for number, row in enumerate(rows, 1)]
    for start in range(0, len(whole), ROWS_AT_ONCE):
        part = whole[start : start + ROWS_AT_ONCE]
        session.connection().execute(sa.insert(table), part, execution_options={UNKEPT: True})
    if whole and session.get_bind().dialect.name == "postgresql":
        session.execute(sa.select(sa.func.setval(numbers, whole[-1]["id"])))
    return [row["id"] for row in whole]


def _wearers(count: int) -> Rows:
    return ({"wearer_id": f"w{n:06}", "name": f"Name {n}", "data_version": 1} for n in range(count))


def _pairs(wearers: list[int]) -> Rows:
    for number in range(len(wearers) * PAIRS_OF_A_WEARER):
        yield {
            "pair_id": f"p{number:06}",
            "wearer_pk": wearers[number // PAIRS_OF_A_WEARER],
            "label": f"Pair {number}",
            "construction": "blake",
        }


def _sole(number: int, pair_pk: int) -> dict[str, Any]:
    return {
        "sole_id": f"s{number:06}",
        "pair_pk": pair_pk,
        "fitted_on": TODAY - timedelta(days=400),
        "material": "oak_bark_leather",
        "nominal_thickness_mm": 5.0,
    }


def _wear_days(pair_pk: int) -> Rows:
    for day in range(DAYS_OF_WEAR):
        yield {
            "pair_pk": pair_pk,
            "worn_on": TODAY - timedelta(days=30 * day + 1),
            "surface": "pavement",
            "wet": False,
        }


def _check(pair_pk: int, foot: str) -> dict[str, Any]:
    return {
        "pair_pk": pair_pk,
        "checked_on": TODAY - timedelta(days=5),
        "foot": foot,
        "point": "ball",
        "method": "caliper",
        "value_mm": 4.0,
    }


def _job(number: int, pair_pk: int) -> dict[str, Any]:
    received = TODAY - timedelta(days=410)
    return {
        "job_id": f"j{number:06}",
        "pair_pk": pair_pk,
        "work": "full_sole",
        "received_on": received,
        "returned_on": received + timedelta(days=10),
    }


def _order(number: int, pair_pk: int) -> dict[str, Any]:
    stage = ("booked", "received", "on_bench", "returned", "returned")[number // 5 % 5]
    booked = TODAY - timedelta(days=number % 200)
    return {
        "order_id": f"o{pair_pk}",
        "pair_pk": pair_pk,
        "work": "full_sole",
        "stage": stage,
        "booked_on": booked,
        "expected_on": booked + timedelta(days=10),
    }


def _outcome(pair_pk: int) -> dict[str, Any]:
    return {"pair_pk": pair_pk, "due_on": TODAY - timedelta(days=90), "outcome": "declined"}


def _forecasts(number: int, pair_pk: int, sole_pk: int, fit_pk: int | None) -> Rows:
    beyond = number % 3 == 0
    due = TODAY + timedelta(days=number % 700 - 30)
    for foot in ("left", "right", "pair"):
        for point in POINTS if foot != "pair" else ("ball",):
            yield {
                "pair_pk": pair_pk,
                "sole_pk": sole_pk,
                "fit_pk": fit_pk,
                "data_version": 1,
                "as_of": TODAY,
                "foot": foot,
                "point": point,
                "thickness_mm_p50": 4.0,
                "due_p10": due,
                "due_p50": due + timedelta(days=60),
                "chance_now": 0.1,
                "chance_30d": 0.2,
                "chance_90d": 0.3,
                "chance_180d": 0.4,
                "chance_365d": 0.5,
                "send_by": None if beyond else due,
                "book_by": None if beyond else due - timedelta(days=14),
                "band": "sound" if beyond else "watch",
                "first_foot": "left",
            }


def _notice(wearer_pk: int) -> dict[str, Any]:
    return {
        "notice_id": f"{wearer_pk:032}",
        "wearer_pk": wearer_pk,
        "decided_at": NOON - timedelta(days=20),
        "decided_on": TODAY - timedelta(days=20),
        "sequence": 1,
    }


def _told(number: int, notices: list[int], pair_pk: int) -> dict[str, Any]:
    return {
        "notice_pk": notices[number // PAIRS_OF_A_WEARER],
        "pair_pk": pair_pk,
        "place": number % PAIRS_OF_A_WEARER,
        "foot": "pair",
        "sole_id": f"s{number:06}",
        "window": 1,
        "sequence": 1,
        "why": "book in",
        "told_day": TODAY,
    }


def _letter(number: int, notice_pk: int) -> dict[str, Any]:
    words = {"subject": "s", "text": "t", "html": "h", "unsubscribe": "u", "pairs": []}
    return {
        "notice_pk": notice_pk,
        "channel": "print",
        "message_id": f"m{notice_pk}",
        "payload": words,
        "made_at": NOON - timedelta(days=20),
        "state": "sent" if number % 2 else "pending",
        "attempts": 0,
        "next_try_at": NOON + timedelta(days=20),
        "done_at": NOON - timedelta(days=20) if number % 2 else None,
    }


def _consent(wearer_pk: int) -> dict[str, Any]:
    return {
        "wearer_pk": wearer_pk,
        "channel": "print",
        "given_at": NOON,
        "given_how": "paper",
        "given_by": "Mo",
    }
