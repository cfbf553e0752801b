"""Pair page service.

Which frames do the pair page and its figures draw from, in a bounded number of statements?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import pandas as pd
import structlog
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast, Refused, SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.planning.care import care_to_do
from solespan.api.services.planning.cost_of_ownership import life_of_known
from solespan.api.services.planning.rack import known_rack, verdicts_on
from solespan.api.services.planning.resole_options import routes_of_known
from solespan.api.services.rack.page_frames import framed, listed, log_of_pair
from solespan.api.services.rack.rack_page import just_logged
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.records import find_record
from solespan.forecast import Explanation
from solespan.forecast.errors import ForecastError
from solespan.forecast.frames import FORECAST, PATH
from solespan.forecast.log import WearLog
from solespan.forecast.planning import state_of
from solespan.forecast.planning.verdict import URGENT

__all__ = ["figure_frames", "pair_name", "pair_values", "upkeep_values"]

log = structlog.get_logger("solespan.pages")

BEYOND_FORECASTS = (SolespanError, ForecastError)


def pair_values(ctx: AppContext, pair_id: str, logged_on: str = "") -> dict[str, Any]:
    """Return the arguments of `pair_page`. Raises `NotFound`.

    `logged_on` is the day of a wear that was logged just now, to change or undo.
    """
    with ctx.database.reading() as session:
        whose = forecast_reads.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        today = pd.Timestamp(ctx.clock.today(whose["time_zone"]))
        pair_log = log_of_pair(session, pair_id, whose["wearer_id"])
        forecast = framed(forecast_reads.forecast_of_pair(session, pair_id), FORECAST)
        explanation = _explanation(ctx, session, pair_id)
        path = _path(ctx, session, pair_id)
        just = just_logged(session, pair_id, logged_on)
        risk = ctx.forecaster.settings_on(session).risk
        do = _do(session, whose["wearer_id"], pair_log, forecast)
    return {
        "pair_id": pair_id,
        "photo_id": whose["photo_id"] or "",
        "log": pair_log,
        "forecast": forecast,
        "today": today,
        "risk": risk,
        "path": path,
        "do": do,
        "limit_mm": _limit_at_ball(path),
        "next_checks": None if explanation is None else explanation.next_checks,
        "reasons": None if explanation is None else explanation.sentences,
        "drivers": None if explanation is None else explanation.drivers,
        "horizon_days": ctx.settings.horizon_days,
        "logged": just,
    }


def _do(session: Session, wearer_id: str, pair_log: WearLog, forecast: pd.DataFrame) -> str:
    """Say what to do with a pair that is due, its costs weighed; empty where sending is right."""
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    if main.empty or main["band"].iloc[0] not in URGENT:
        return ""
    of_rack = {name: listed(session, name, wearer_id=wearer_id) for name in ("pairs", "bench_jobs")}
    amounts = replace(pair_log, **of_rack)
    row = main.to_dict("records")[0]
    states = {str(row["pair_id"]): state_of(row)}
    (verdict,) = verdicts_on(session, wearer_id, pair_log, amounts, states).values()
    return "" if verdict.word == "send" else verdict.sentence


def pair_name(ctx: AppContext, pair_id: str) -> dict[str, Any]:
    """Return what the pages below a pair's need: its id, what it is called, and the day it is.

    Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        row = find_record(session, "pairs", {"pair_id": pair_id})
        if row is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        whose = forecast_reads.wearer_of_pair(session, pair_id)
    today = ctx.clock.today("UTC" if whose is None else whose["time_zone"])
    return {
        "pair_id": pair_id,
        "label": row["label"] or pair_id,
        "today_iso": today.isoformat(),
    }


def upkeep_values(ctx: AppContext, pair_id: str) -> dict[str, Any]:
    """Return the arguments of `upkeep_page`. Raises `NotFound`."""
    missing = []
    ways: dict[str, Any] | None = None
    life: dict[str, Any] | None = None
    with ctx.database.reading() as session:
        whose = forecast_reads.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        rack = known_rack(ctx, session, whose["wearer_id"])
        forecast = load_forecasts(session, [rack.wearer_id])
        care = care_to_do(session, rack, forecast)
        try:
            ways = routes_of_known(rack, pair_id, *_send_by(forecast, pair_id))
            life = life_of_known(rack, forecast)
        except (NothingForecast, Refused) as refused:
            missing.append(refused.what)
    return {
        "care": care,
        "ways": ways,
        "life": None if life is None else life["items"],
        "pair_id": pair_id,
        "missing": missing,
    }


def _send_by(forecast: pd.DataFrame, pair_id: str) -> tuple[date | None, str | None]:
    """Return the send-by date of a pair and its state, None where nothing is forecast."""
    main = (forecast["foot"] == "pair") & (forecast["point"] == "ball")
    rows = forecast[main & (forecast["pair_id"] == pair_id)].to_dict("records")
    if not rows:
        return None, None
    day = rows[0]["send_by"]
    return None if pd.isna(day) else day.date(), state_of(rows[0])


def _explanation(ctx: AppContext, session: Session, pair_id: str) -> Explanation | None:
    try:
        return ctx.forecaster.explanation(session, pair_id)
    except BEYOND_FORECASTS as failure:
        log.info("no_explanation", kind=type(failure).__name__)
        return None


def _path(ctx: AppContext, session: Session, pair_id: str) -> pd.DataFrame:
    try:
        return ctx.forecaster.path(session, pair_id)[0]
    except BEYOND_FORECASTS as failure:
        log.info("no_path", kind=type(failure).__name__)
        return framed([], PATH)


def _limit_at_ball(path: pd.DataFrame) -> float | None:
    at_ball = path[(path["point"] == "ball") & path["limit_mm"].notna()]
    return None if at_ball.empty else float(at_ball.sort_values("on_date")["limit_mm"].iloc[-1])


def figure_frames(
    ctx: AppContext, pair_id: str, needs: Sequence[str]
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Gather the frames a figure of the pair page needs, by name, and the day it is.

    Raises `NotFound`.
    """
    with ctx.database.reading() as session:
        whose = forecast_reads.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        frames = {}
        for name in needs:
            if name == "path":
                frames[name] = _path(ctx, session, pair_id)
            elif name == "forecast":
                frames[name] = framed(forecast_reads.forecast_of_pair(session, pair_id), FORECAST)
            else:
                frames[name] = listed(session, name, pair_id=pair_id)
    return frames, pd.Timestamp(ctx.clock.today(whose["time_zone"]))
