"""Asking service: whom would the year's plan ask, whom not, and did such pairs prove due before?

The newest plan's days are compared with what is known today, so a plan that has aged asks nobody
who may not be asked now. Without a plan the send-by day counts. The share that proved due is of the
kept look back over past years.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import NothingForecast
from solespan.api.schemas.bench.asking import WHY
from solespan.api.services.bench.booking.free_days import shop_today
from solespan.api.storage.bench import desk
from solespan.api.storage.bench.asking_facts import load_facts, load_lives
from solespan.api.storage.bench.workload import newest_plan
from solespan.api.storage.bench.year_looks import kept_looks
from solespan.api.storage.forecasts.forecast_reads import newest_fit_key
from solespan.api.storage.notices.notices import load_busy, load_customers, load_due_pairs
from solespan.api.storage.session import Database
from solespan.forecast.backtesting.asked_look_back import PROVED_DAYS
from solespan.forecast.frames import PROBABLY_GONE
from solespan.forecast.workload.asking_rules import AskingRules, asking_rules

__all__ = ["asked_body", "asked_in_year", "asked_until"]

PLAN_DAYS = 60  # a bench plan older than this asks nobody
YEAR_DAYS = 365


def asked_in_year(database: Database, clock: Clock) -> dict[str, Any]:
    """Say who would be asked when and why, and who is left out and why; change nothing.

    Raises `NothingForecast` while there is no fit.
    """
    with database.reading() as session:
        if newest_fit_key(session) is None:
            raise NothingForecast(
                "There is no forecast yet, so nobody can be asked.",
                remedy="Fit the wear model: POST /v1/fit, or run: solespan fit",
            )
        today = shop_today(session, clock)
        pairs = load_due_pairs(session, 90)
        busy, facts, lives = load_busy(session), load_facts(session), load_lives(session)
        plan, looks = newest_plan(session), kept_looks(session)
        names = load_customers(session)
    pairs = pairs[pairs["band"].notna() & ~pairs["band"].isin(("retired", "away"))]
    pairs = pairs.reset_index(drop=True)
    fresh, planned = _days_of(plan, today)
    ask_on, why = _judged(pairs, busy, planned, asking_rules(pairs, facts, lives), today)
    owner = names.set_index("wearer_id")["name"]
    customer = pairs["wearer_id"].map(owner).fillna(pairs["wearer_id"])
    rows = pd.DataFrame(
        {
            "pair_id": pairs["pair_id"],
            "pair": pairs["label"].fillna(pairs["pair_id"]),
            "customer": customer,
            "ask_on": ask_on,
            "why": why,
            "reason": pairs["reason"].fillna(""),
        }
    ).sort_values(["ask_on", "pair_id"], ignore_index=True)
    return {
        "as_of": today.isoformat(),
        "planned_on": plan["as_of"].isoformat() if plan is not None and fresh else None,
        "counts": {word: int((rows["why"] == word).sum()) for word in WHY}
        | {"asked": int((rows["why"] == "").sum())},
        "proved": _proved([] if looks is None else looks[1]),
        "rows": rows,
    }


def asked_until(
    session: Session, today: date, until: date, most: int
) -> tuple[list[dict[str, Any]], bool]:
    """Return the pairs of `asked_in_year` whose day to be asked is not after a day, soonest first.

    Only the pairs with the `most` soonest dates are judged; also say whether those are all. Each
    has `ask_on` and what `storage.bench.desk.dates_until` returns.
    """
    found = desk.dates_until(session, until, most + 1)
    whole = len(found) <= most
    found = found[:most]
    if not found:
        return [], whole
    pairs = pd.DataFrame(found)
    rules = asking_rules(pairs, load_facts(session, list(pairs["pair_id"])), load_lives(session))
    _, planned = _days_of(newest_plan(session), today)
    ask_on, why = _judged(pairs, {}, planned, rules, today)
    told = [
        row | {"ask_on": day.date()}
        for row, day, left_out in zip(found, ask_on, why, strict=True)
        if not left_out and day.date() <= until
    ]
    return sorted(told, key=lambda row: (row["ask_on"], row["send_by"], row["pair_id"])), whole


def _days_of(plan: dict[str, Any] | None, today: date) -> tuple[bool, list[dict[str, Any]]]:
    """Say whether a plan is fresh enough to ask by, and return its pairs if so."""
    if plan is None or (today - plan["as_of"]).days > PLAN_DAYS:
        return False, []
    return True, plan["payload"]["pairs"]


def asked_body(
    database: Database, clock: Clock, why: str | None = None, limit: int | None = None
) -> dict[str, Any]:
    """Say it as JSON values: those asked, or those left out for one reason; at most `limit`."""
    told = asked_in_year(database, clock)
    rows = told.pop("rows")
    shown = rows[rows["why"] == (why or "")][:limit]
    return told | {"items": [_told(row) for row in shown.to_dict("records")]}


def _judged(
    pairs: pd.DataFrame,
    busy: dict[str, str],
    planned: list[dict[str, Any]],
    rules: AskingRules,
    today: date,
) -> tuple[pd.Series, np.ndarray]:
    """Give each pair the day it would be asked for, and why it is not (empty: it is)."""
    day = np.datetime64(today, "D")
    send_by = pd.to_datetime(pairs["send_by"]).to_numpy().astype("datetime64[D]")
    asked = {row["pair_id"]: row["ask_on"] for row in planned if row["ask_on"]}
    plan_on = pd.to_datetime(pairs["pair_id"].map(asked)).to_numpy().astype("datetime64[D]")
    # a plan brings a day forward, to the 10 % day at most, and never back
    plan_on = np.where(plan_on < rules.ten_on, rules.ten_on, plan_on)
    ask_on = np.where(np.isnat(plan_on), send_by, np.minimum(plan_on, send_by))
    ask_on = np.where(ask_on < day, day, ask_on)
    conditions = {
        "busy": pairs["pair_id"].isin(busy).to_numpy(),
        "gone": pairs["chance_in_use"].to_numpy(float) < PROBABLY_GONE,
        "later": ~(ask_on < day + np.timedelta64(YEAR_DAYS, "D")),
    }
    why = np.select(list(conditions.values()), list(conditions), default=rules.left_out(ask_on))
    return pd.Series(ask_on.astype("datetime64[s]")), why


def _proved(looks: list[dict[str, Any]]) -> dict[str, Any]:
    """Sum up the past: of those asked like this, how many proved due within so many days."""
    asked = sum(look.get("asked") or 0 for look in looks)
    due = sum(look.get("asked_due") or 0 for look in looks)
    return {
        "asked": int(asked),
        "due": int(due),
        "days": PROVED_DAYS,
        "share": round(due / asked, 3) if asked else None,
    }


def _told(row: dict[Any, Any]) -> dict[str, Any]:
    ask_on = row["ask_on"]
    told = {str(name): value for name, value in row.items()}
    told["why"] = row["why"] or None
    told["ask_on"] = None if pd.isna(ask_on) else ask_on.date().isoformat()
    return told
