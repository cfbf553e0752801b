"""Quotes service.

What would a pair's repair cost and buy, from its stored forecast and its condition report?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.clock import Clock
from solespan.api.errors import Conflict, NothingForecast, StaleVersion
from solespan.api.services.bench.bench_settings import (
    bench_minutes,
    read_bench_settings,
    usual_minutes,
)
from solespan.api.services.bench.found_orders import describe, found_order
from solespan.api.services.planning.cost_of_ownership import stood_choices
from solespan.api.services.rack import records
from solespan.api.services.rack.sole_forms import sole_below
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.audit import actor_of
from solespan.api.storage.bench import orders as stored
from solespan.api.storage.bench.orders import list_orders, papers_of
from solespan.api.storage.forecasts.forecast_reads import forecast_of_pair
from solespan.api.storage.notices.hook_events import put_order_event
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.rack.records import find_record, list_records
from solespan.api.storage.scope import name_changed
from solespan.forecast.bench.findings import PARTS, PairState, layers_of
from solespan.forecast.bench.minutes import JobMinutes, fit_minutes
from solespan.forecast.bench.quoting import Alternative, needs_of, quote, quote_visit
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.bench.visits import main_work
from solespan.forecast.errors import BadHorizon
from solespan.forecast.frames import FEET
from solespan.forecast.layers.carriers import count_resoles, seams_of_carrier
from solespan.forecast.layers.rows import layers_on, rewelt_days, top_piece_mm
from solespan.forecast.layers.stack import SOURCE, logged_layers

__all__ = [
    "AGREED_IN",
    "agree",
    "pair_state",
    "quote_pair",
    "works_columns",
]

_NO_JOBS = pd.DataFrame(
    {"work": [], "construction": [], "bench_minutes": np.zeros(0), "worker": []}
)
AGREED_IN = ("booked", "in_post", "received")

_WORST = ("missing", "wet", "broken", "worn", "good", "not seen")


def quote_pair(
    session: Session,
    pair_id: str,
    worker: str | None,
    *,
    timed: bool = True,
    works: Sequence[str] = (),
) -> dict[str, Any]:
    """Quote one pair; without `timed`, minutes are the standards and no jobs are read.

    `works` are quoted as one visit, with what must be done with them, as `chosen`.

    Raises `NotFound`, `NothingForecast` while it has no forecast, and `Conflict` where `works`
    cannot stand together.
    """
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
    state = pair_state(session, pair, known)
    minutes = bench_minutes(session) if timed else fit_minutes(_NO_JOBS, usual_minutes(session))
    settings, _ = read_bench_settings(session)
    prices = {w: one.price_minor for w, one in STANDARDS.items()} | dict(settings.price_minor)
    terms = (minutes, prices, worker, settings.drying_hours)
    ways = quote(state, *terms)
    needs = needs_of(state)
    return {
        "pair_id": pair_id,
        "currency": settings.currency,
        "needed": [{"work": work, "why": why} for work, why in needs.works.items()],
        "findings": [asdict(one) for one in needs.findings],
        "depends_on": list(needs.depends_on),
        "wear_days_left": {
            point: round(days, 1)
            for point in ("ball", "toe", "heel")
            if isfinite(days := state.wear_days_left(point))
        },
        "soles_left": state.soles_left,
        "layers": [asdict(one) for one in layers_of(state)],
        "alternatives": [_way(way) for way in ways],
        "chosen": _chosen(state, works, terms) if works else None,
        "minutes_from": f"{sum(minutes.jobs.values())} timed jobs of this shop, over {SOURCE}",
    }


def agree(
    session: Session,
    order_id: str,
    works: Sequence[str],
    version: int,
    clock: Clock,
    *,
    offered_only: bool = False,
) -> dict[str, Any]:
    """Let an order follow works of its pair's quote: all of them, at the price of the whole.

    With `offered_only` they are one of the ways of the quote, as a customer chooses.

    Raises `NotFound`, `NothingForecast`, `StaleVersion`, and `Conflict` where the works cannot
    stand together or the pair is on the bench already.
    """
    order = found_order(session, order_id, lock=True)
    if version != order["version"]:
        raise StaleVersion(
            "Someone changed this order since it was read.",
            where="version",
            accepted=str(order["version"]),
            remedy="Read the order again and decide again.",
        )
    if order["stage"] not in AGREED_IN:
        raise Conflict(
            f"A way is agreed before the work begins; this order is {order['stage']}.",
            where="the order's stage",
            remedy="Book another order for further work.",
        )
    told = quote_pair(session, order["pair_id"], None, timed=False, works=works)
    way = told["chosen"]
    if offered_only and all(set(one["works"]) != set(works) for one in told["alternatives"]):
        raise Conflict(
            "The quote offers no such way now.",
            where="works",
            accepted="; ".join(" ".join(one["works"]) for one in told["alternatives"]) or "none",
            remedy="Read the quote again and choose one of its ways.",
        )
    values = works_columns(way["works"])
    values |= {"price_minor": way["price_minor"], "currency": told["currency"]}
    stored.change_order(session, order["id"], version, values)
    if order["stage"] == "received":
        key = {"job_id": order_id}
        job = records.read(session, "bench_jobs", key)
        rest = {k: v for k, v in job.items() if k not in ("job_id", "pair_id", "version")}
        records.replace(session, "bench_jobs", key, rest | values, versions=None, clock=clock)
    stored.add_event(
        session,
        order["id"],
        from_stage=order["stage"],
        to_stage=order["stage"],
        worker=actor_of(session),
        details={"agreed": way["works"], "price_minor": way["price_minor"]},
    )
    works = list(way["works"])
    put_order_event(session, "order.approved", order["id"], clock.now(), works=works)
    name_changed(order_id=order_id, pair_id=order["pair_id"])
    return describe(session, order_id)


def works_columns(works: Sequence[str]) -> dict[str, Any]:
    """Give the columns of an order or a job that hold several works; the main one stands first."""
    main = main_work(works)
    more = [work for work in dict.fromkeys(works) if work != main]
    return {"work": main, "more_works": " ".join(more) or None}


def _chosen(
    state: PairState,
    works: Sequence[str],
    terms: tuple[JobMinutes, Mapping[str, int], str | None, Mapping[str, float]],
) -> dict[str, Any]:
    try:
        return _way(quote_visit(state, works, *terms))
    except BadHorizon as clash:
        raise Conflict(
            f"These works cannot be done together: {str(clash).removeprefix('works: ')}.",
            where="works",
            accepted="works that the pair admits, one new sole at most",
            remedy="Choose other works, or book a second order.",
        ) from clash


def _way(way: Alternative) -> dict[str, Any]:
    rounded = ("minutes", "minutes_low", "minutes_high")
    days = ("wear_days_bought", "wear_days_low", "wear_days_high")
    return {
        **{name: list(value) for name, value in (("works", way.works), ("why", way.why))},
        "price_minor": way.price_minor,
        **{name: round(getattr(way, name), 1) for name in (*rounded, *days)},
        "waiting_hours": way.waiting_hours,
        "uses": way.uses,
        "soles_left": way.soles_left,
    }


def pair_state(session: Session, pair: dict[str, Any], rows: list[dict[str, Any]]) -> PairState:
    """Gather what the log, the forecast rows and the condition report say of a pair."""
    pair_id = pair["pair_id"]
    soles = list_records(session, "soles", equal={"pair_id": pair_id}, limit=200)
    soles.sort(key=lambda sole: sole["fitted_on"])
    now = soles[-1]
    grades = list_records(
        session,
        "checks",
        equal={"pair_id": pair_id, "grade": "hole", "point": "ball"},
        since=("checked_on", now["fitted_on"]),
        limit=1,
    )
    bases = _lug_bases(session, pair_id, now)
    jobs = list_records(
        session, "bench_jobs", equal={"pair_id": pair_id, "work": "rewelt"}, limit=50
    )
    frame = pd.DataFrame(soles).assign(fitted_on=lambda s: pd.to_datetime(s["fitted_on"]))
    done = pd.Series([pd.Timestamp(job["received_on"]) for job in jobs], dtype="datetime64[s]")
    kept = load_rows(session, "layers", by="pair_id", ids=[pair_id])
    rewelts = rewelt_days(kept, pair_id, done, frame["fitted_on"].min())
    layers = layers_on(kept, pair_id)
    own = {"ball": now["limit_mm"], "heel": top_piece_mm(layers, now["fitted_on"], "limit_mm")}
    earlier = pair["earlier_resoles"]
    return PairState(
        construction=pair["construction"],
        material=now["material"],
        kind=pair["kind"],
        lug_base_mm=float(np.mean(bases)) if bases else None,
        thickness_mm={r["point"]: r["thickness_mm_p50"] for r in rows},
        rate_mm_per_wear_day={r["point"]: r["rate_mm_per_wear_day_p50"] for r in rows},
        limit_mm={point: mm for point, mm in own.items() if mm is not None},
        parts=_parts(session, pair_id),
        hole=bool(grades),
        cover=now["cover"],
        channel=now["channel"],
        new_mm=now["nominal_thickness_mm"],
        base=_base(session, soles),
        resoles=count_resoles(frame, earlier),
        seams=seams_of_carrier(
            frame, earlier, rewelts, construction=pair["construction"], layers=layers
        ),
        rewelts=len(rewelts),
        midsole=bool((layers["layer"] == "midsole").any()),
        heel_mm=top_piece_mm(layers, now["fitted_on"]),
        logged=logged_layers(layers, pair["kind"]),
        band=next((r["band"] for r in rows if r["point"] == "ball"), None),
        stood=stood_choices(session).resoles_stood.get(pair["construction"]),
    )


def _lug_bases(session: Session, pair_id: str, sole: Mapping[str, Any]) -> list[float]:
    """Thickness below the lugs at each reading of them on the sole that is on."""
    if sole["material"] != "lug_rubber":
        return []
    looks = list_records(
        session,
        "checks",
        equal={"pair_id": pair_id},
        since=("checked_on", sole["fitted_on"]),
        limit=2000,
    )
    return [
        one["value_mm"] - one["lug_mm"]
        for one in looks
        if one["lug_mm"] is not None and one["point"] in ("ball", "toe")
    ]


def _base(session: Session, soles: Sequence[dict[str, Any]]) -> tuple[str, float, float] | None:
    """The sole below a guard: material, mm when new, and the last reading at the ball, in mm."""
    sole = sole_below(session, soles)
    if sole is None:
        return None
    return sole["material"], float(sole["nominal_thickness_mm"]), sole["now_mm"]


def _parts(session: Session, pair_id: str) -> dict[str, str]:
    """Worst state of each part in the newest open order's condition report."""
    for order in list_orders(session, stage=None, pair_id=pair_id, below_id=None, limit=20):
        if order["stage"] not in ("received", "on_bench"):
            continue
        paper = papers_of(session, order["id"]).get("condition")
        if paper is not None:
            return {
                part: min((paper[foot].get(part, "not seen") for foot in FEET), key=_WORST.index)
                for part in PARTS
            }
    return {}
