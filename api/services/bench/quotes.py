"""Quotes service.

What would a pair's repair cost and buy, from its stored forecast and its condition report?
"""

from __future__ import annotations

from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast
from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.bench.orders import list_orders, papers_of, workers_by_order
from solespan.api.storage.forecasts.forecast_reads import forecast_of_pair
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.rack.records import find_record, list_records
from solespan.forecast.bench.minutes import JobMinutes, fit_minutes
from solespan.forecast.bench.quoting import PairState, needs_of, quote
from solespan.forecast.bench.standards import SOURCE

__all__ = ["quote_pair", "shop_minutes"]

_WORST = ("missing", "broken", "worn", "good", "not seen")
_PARTS = ("stitching", "welt", "heel_block", "toe", "shank", "cork", "uppers")


def shop_minutes(session: Session) -> JobMinutes:
    """Learn the bench's minutes from every job that was timed."""
    jobs = load_rows(session, "bench_jobs", by="wearer_id", ids=None)
    pairs = load_rows(session, "pairs", by="wearer_id", ids=None)
    construction = dict(zip(pairs["pair_id"], pairs["construction"], strict=True))
    workers = workers_by_order(session)
    return fit_minutes(
        jobs.assign(
            construction=jobs["pair_id"].map(construction),
            worker=jobs["job_id"].map(workers).astype(object),
        )
    )


def quote_pair(session: Session, pair_id: str, worker: str | None) -> dict[str, Any]:
    """Quote one pair. Raises `NotFound`, and `NothingForecast` while it has no forecast."""
    pair = find_record(session, "pairs", {"pair_id": pair_id})
    if pair is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    rows = [r for r in forecast_of_pair(session, pair_id) if r["foot"] == "pair"]
    known = [r for r in rows if r["thickness_mm_p50"] is not None]
    if not known:
        raise NothingForecast(
            f"The pair {pair_id} has no forecast, so nothing can be quoted from it.",
            where="pair_id",
            remedy="Add its sole, then fit: POST /v1/fit, or run: solespan fit",
        )
    state = _state(session, pair, known)
    minutes = shop_minutes(session)
    settings, _ = read_bench_settings(session)
    ways = quote(state, minutes, settings.price_minor, worker)
    needs = needs_of(state)
    return {
        "pair_id": pair_id,
        "currency": settings.currency,
        "needed": [{"work": work, "why": why} for work, why in needs.works.items()],
        "wear_days_left": {
            point: round(days, 1)
            for point in ("ball", "toe", "heel")
            if pd.notna(days := state.wear_days_left(point)) and days != float("inf")
        },
        "alternatives": [
            {
                "works": list(way.works),
                "why": list(way.why),
                "price_minor": way.price_minor,
                "minutes": round(way.minutes, 1),
                "minutes_low": round(way.minutes_low, 1),
                "minutes_high": round(way.minutes_high, 1),
                "wear_days_bought": round(way.wear_days_bought, 1),
            }
            for way in ways
        ],
        "minutes_from": f"{sum(minutes.jobs.values())} timed jobs of this shop, over {SOURCE}",
    }


def _state(session: Session, pair: dict[str, Any], rows: list[dict[str, Any]]) -> PairState:
    soles = list_records(session, "soles", equal={"pair_id": pair["pair_id"]}, limit=200)
    now = max(soles, key=lambda sole: sole["fitted_on"])
    grades = list_records(
        session,
        "checks",
        equal={"pair_id": pair["pair_id"], "grade": "hole", "point": "ball"},
        since=("checked_on", now["fitted_on"]),
        limit=1,
    )
    limits = {} if now["limit_mm"] is None else {"ball": now["limit_mm"]}
    return PairState(
        construction=pair["construction"],
        material=now["material"],
        thickness_mm={r["point"]: r["thickness_mm_p50"] for r in rows},
        rate_mm_per_wear_day={r["point"]: r["rate_mm_per_wear_day_p50"] for r in rows},
        limit_mm=limits,
        parts=_parts(session, pair["pair_id"]),
        hole=bool(grades),
        soles_had=len(soles) + (pair["earlier_resoles"] or 0),
    )


def _parts(session: Session, pair_id: str) -> dict[str, str]:
    """Worst state of each part in the newest open order's condition report."""
    for order in list_orders(session, stage=None, pair_id=pair_id, below_id=None, limit=20):
        if order["stage"] not in ("received", "on_bench"):
            continue
        paper = papers_of(session, order["id"]).get("condition")
        if paper is not None:
            return {
                part: min((paper[foot][part] for foot in ("left", "right")), key=_WORST.index)
                for part in _PARTS
            }
    return {}
