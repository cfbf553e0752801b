"""Who are the customers of the tests' shop, and what do their forecasts say?"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
from solespan.api.storage.importing.bulk import insert_rows, pks_by_id
from solespan.api.storage.notices.consents import give_consent
from solespan.api.storage.notices.notices import list_notices
from solespan.api.storage.session import Database
from solespan.api.storage.tables.notices import Outbox
from solespan.forecast.frames import CHANCE_DAYS, FORECAST

TODAY = pd.Timestamp("2026-11-25")
SECRET = "a secret of the tests, long enough to sign with"
RULES = NoticeRules(shop_name="Hide & Welt", shop_contact="12 Last Lane", quiet_to="20:00")
# days until send-by: due now, soon, later, far
SEND_BY_DAYS = (3, 20, 55, 400)
ZONES = {"ada": "Europe/Vienna", "bo": "UTC", "cy": "Asia/Tokyo"}


def add_customers(database: Database, *, pairs: int = 4, as_of: pd.Timestamp = TODAY) -> None:
    """Ada, Bo and Cy, each with `pairs` pairs, forecast but not fitted."""
    wearers = [
        {"wearer_id": w, "name": w.title(), "time_zone": zone, "email": f"{w}@mail.example"}
        for w, zone in ZONES.items()
    ]
    whose = [(w, f"{w}-{i}") for w in ZONES for i in range(pairs)]
    with database.writing() as session:
        insert_rows(session, "wearers", wearers)
        pks = pks_by_id(session, "wearers", list(ZONES))
        insert_rows(
            session,
            "pairs",
            [
                {
                    "pair_id": pair_id,
                    "wearer_pk": pks[w],
                    "label": f"Oxford {pair_id}",
                    "construction": "goodyear_welted",
                    "wears_per_week": 2.0,  # so that something is known of the pair itself
                }
                for w, pair_id in whose
            ],
        )
        known = pks_by_id(session, "pairs", [p for _, p in whose])
        insert_rows(
            session,
            "soles",
            [
                {
                    "sole_id": f"{p}-sole",
                    "pair_pk": known[p],
                    "fitted_on": date(2025, 6, 1),
                    "material": "oak_bark_leather",
                    "nominal_thickness_mm": 5.0,
                    "removed_on": None,
                }
                for _, p in whose
            ],
        )
        rows = [forecast_row(p, SEND_BY_DAYS[i % 4], as_of) for _, p in whose for i in [int(p[-1])]]
        frame = pd.DataFrame(rows, columns=[c.name for c in FORECAST])
        replace_forecasts(session, frame)


def forecast_row(pair_id: str, send_by_days: int, as_of: pd.Timestamp = TODAY) -> dict[str, Any]:
    """A pair's forecast at the ball, due some weeks around its send-by date."""
    send_by = as_of + timedelta(days=send_by_days)
    band = "book in" if send_by_days < 45 else "watch" if send_by_days < 170 else "sound"
    return {
        "pair_id": pair_id,
        "sole_id": f"{pair_id}-sole",
        "as_of": as_of,
        "foot": "pair",
        "point": "ball",
        "thickness_mm_p50": 2.6,
        "rate_mm_per_wear_day_p50": 0.02,
        "due_p05": send_by - timedelta(days=5),
        "due_p10": send_by,
        "due_p25": send_by + timedelta(days=12),
        "due_p50": send_by + timedelta(days=30),
        "due_p75": send_by + timedelta(days=45),
        "due_p90": send_by + timedelta(days=60),
        "due_p95": send_by + timedelta(days=75),
        **dict.fromkeys(CHANCE_DAYS, 0.1),
        "send_by": send_by,
        "book_by": send_by - timedelta(days=14),
        "band": band,
        "first_foot": "left",
        "reason": "",
    }


def link_in(text: str, purpose: str) -> str:
    """Return the path of the first link of a purpose in a notice's text."""
    words = {
        "book": "Book it in: ",
        "check": "to the thumb: ",
        "elsewhere": "done elsewhere: ",
        "decline": "Not this time: ",
        "unsubscribe": "Stop these notices: ",
    }
    found = re.search(re.escape(words[purpose]) + r"https://shop\.example(\S+)", text)
    assert found, f"no link to {purpose}"
    return found[1]


def add_many(database: Database, customers: int) -> None:
    """Add customers who all agreed to mail, each with one pair that is due."""
    with database.writing() as session:
        ids = [f"many-{i:06d}" for i in range(customers)]
        insert_rows(
            session,
            "wearers",
            [{"wearer_id": w, "name": w, "email": f"{w}@mail.example"} for w in ids],
        )
        pks = pks_by_id(session, "wearers", ids)
        pairs = [
            {"pair_id": w, "wearer_pk": pks[w], "label": f"Derby {w}", "construction": "blake"}
            | {"wears_per_week": 2.0}
            for w in ids
        ]
        insert_rows(session, "pairs", pairs)
        known = pks_by_id(session, "pairs", ids)
        insert_rows(
            session,
            "soles",
            [
                {
                    "sole_id": f"{w}-sole",
                    "pair_pk": known[w],
                    "fitted_on": date(2025, 6, 1),
                    "material": "oak_bark_leather",
                    "nominal_thickness_mm": 5.0,
                    "removed_on": None,
                }
                for w in ids
            ],
        )
        given = {"given_at": datetime(2026, 1, 1, tzinfo=UTC), "given_how": "x", "given_by": "x"}
        for w in ids:
            give_consent(session, pks[w], "mail", **given)
        rows = [forecast_row(w, 3) for w in ids]
        frame = pd.DataFrame(rows, columns=[c.name for c in FORECAST])
        replace_forecasts(session, frame, wearer_ids=ids)


def rows(shop) -> list[dict[str, Any]]:
    """Return the shop's notices."""
    with shop.database.reading() as session:
        return list_notices(session, limit=100)


def count_states(session: Session) -> dict[str, int]:
    """Count the outbox by state."""
    return dict(session.execute(select(Outbox.state, func.count()).group_by(Outbox.state)).all())
