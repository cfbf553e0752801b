"""Which frames does each page and figure draw from, read with a bounded number of statements?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd
import structlog
from sqlalchemy.orm import Session

from api.errors import SolespanError
from api.services.records import unknown_id
from api.storage import due
from api.storage.forecasts import load_forecasts
from api.storage.frames import frame_of_rows
from api.storage.records import list_records
from api.wiring import Services
from dashboards.pages.pair import pair_page
from dashboards.pages.rack import MOST_DRAWN, MOST_SHOWN, rack_page
from forecast import Explanation
from forecast.errors import ForecastError
from forecast.frames import FORECAST, PATH, TABLES, Column
from forecast.log import WearLog

__all__ = ["figure_frames", "pair_context", "rack_context", "rack_frames"]

log = structlog.get_logger("solespan.pages")

MOST_ROWS = 100_000
BEYOND_FORECASTS = (SolespanError, ForecastError)


def rack_context(serving: Services, wearer_id: str, band: str) -> dict[str, Any]:
    """Gather the rack page: five statements, however many pairs there are."""
    with serving.database.reading() as session:
        pairs, wearers = _listed(session, "pairs"), _listed(session, "wearers")
        forecast = _rack_forecast(session, pairs, wearer_id, band)
    return rack_page(
        forecast,
        pairs,
        wearers,
        today=_today(serving, wearers, wearer_id),
        wearer_id=wearer_id,
        band=band,
        horizon_days=serving.settings.horizon_days,
    )


def rack_frames(
    serving: Services, wearer_id: str, band: str
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Gather what the rack's figures need, of the pairs drawn, and the day it is."""
    with serving.database.reading() as session:
        pairs, wearers = _listed(session, "pairs"), _listed(session, "wearers")
        rows = _due_rows(session, wearer_id, band, MOST_DRAWN)
        forecast = _with_feet(session, rows, pairs)
    return {"forecast": forecast, "pairs": pairs}, _today(serving, wearers, wearer_id)


def _rack_forecast(
    session: Session, pairs: pd.DataFrame, wearer_id: str, band: str
) -> pd.DataFrame:
    """Read the resole rows of all pairs, and the feet of those that the page shows first."""
    every = _due_rows(session, "", "", MOST_ROWS)
    chosen = every
    if wearer_id or band:
        chosen = _due_rows(session, wearer_id, band, MOST_SHOWN)
    feet = _with_feet(session, chosen.head(MOST_SHOWN), pairs)
    return pd.concat([every, feet[feet["foot"] != "pair"]], ignore_index=True)


def _due_rows(session: Session, wearer_id: str, band: str, limit: int) -> pd.DataFrame:
    rows = due.list_due(
        session,
        due.DueFilter(wearer_id=wearer_id or None, band=band or None, foot="pair", point="ball"),
        after=None,
        limit=limit,
    )
    return _frame(rows, FORECAST)


def _with_feet(session: Session, rows: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Read every row of the pairs in `rows`, feet included."""
    if rows.empty:
        return rows
    owners = pairs.loc[pairs["pair_id"].isin(rows["pair_id"]), "wearer_id"].unique()
    stored = load_forecasts(session, list(owners))
    return stored[stored["pair_id"].isin(rows["pair_id"])].reset_index(drop=True)


def _listed(session: Session, name: str, **equal: str) -> pd.DataFrame:
    rows = list_records(session, name, equal=equal, limit=MOST_ROWS)
    return _frame(rows, TABLES[name].stored)


def _frame(rows: Sequence[Mapping[str, Any]], columns: Sequence[Column]) -> pd.DataFrame:
    return frame_of_rows([tuple(row[c.name] for c in columns) for row in rows], columns)


def _today(serving: Services, wearers: pd.DataFrame, wearer_id: str) -> pd.Timestamp:
    """Return the day where the wearer lives; where all live when it is one zone, else UTC."""
    chosen = wearers[wearers["wearer_id"] == wearer_id] if wearer_id else wearers
    zones = set(chosen["time_zone"])
    return _stamp(serving.clock.today(zones.pop() if len(zones) == 1 else "UTC"))


def _stamp(day: date) -> pd.Timestamp:
    return pd.Timestamp(day)


def _pair_log(session: Session, pair_id: str, wearer_id: str) -> WearLog:
    return WearLog(
        wearers=_listed(session, "wearers", wearer_id=wearer_id),
        pairs=_listed(session, "pairs", pair_id=pair_id),
        soles=_listed(session, "soles", pair_id=pair_id),
        wear_days=_listed(session, "wear_days", pair_id=pair_id),
        checks=_listed(session, "checks", pair_id=pair_id),
        bench_jobs=_listed(session, "bench_jobs", pair_id=pair_id),
    )


def pair_context(serving: Services, pair_id: str) -> dict[str, Any]:
    """Gather the pair page, all but its forms. Raises `NotFound`."""
    with serving.database.reading() as session:
        whose = due.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        today = _stamp(serving.clock.today(whose["time_zone"]))
        pair_log = _pair_log(session, pair_id, whose["wearer_id"])
        forecast = _frame(due.forecast_of_pair(session, pair_id), FORECAST)
        explanation = _explanation(serving, session, pair_id)
        path = _path(serving, session, pair_id)
    context = pair_page(
        pair_id,
        pair_log,
        forecast,
        today=today,
        risk=serving.settings.risk,
        limit_mm=_limit_at_ball(path),
        next_checks=None if explanation is None else explanation.next_checks,
        drivers=None if explanation is None else explanation.sentences,
        horizon_days=serving.settings.horizon_days,
    )
    return context | {"today_iso": f"{today:%Y-%m-%d}"}


def _explanation(serving: Services, session: Session, pair_id: str) -> Explanation | None:
    try:
        return serving.forecaster.explanation(session, pair_id)
    except BEYOND_FORECASTS as failure:
        log.info("no_explanation", kind=type(failure).__name__)
        return None


def _path(serving: Services, session: Session, pair_id: str) -> pd.DataFrame:
    try:
        return serving.forecaster.path(session, pair_id)[0]
    except BEYOND_FORECASTS as failure:
        log.info("no_path", kind=type(failure).__name__)
        return _frame([], PATH)


def _limit_at_ball(path: pd.DataFrame) -> float | None:
    at_ball = path[(path["point"] == "ball") & path["limit_mm"].notna()]
    return None if at_ball.empty else float(at_ball.sort_values("on_date")["limit_mm"].iloc[-1])


def figure_frames(
    serving: Services, pair_id: str, needs: Sequence[str]
) -> tuple[dict[str, pd.DataFrame], pd.Timestamp]:
    """Gather the frames a figure of the pair page needs, by name, and the day it is.

    Raises `NotFound`.
    """
    with serving.database.reading() as session:
        whose = due.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        frames = {}
        for name in needs:
            if name == "path":
                frames[name] = _path(serving, session, pair_id)
            elif name == "forecast":
                frames[name] = _frame(due.forecast_of_pair(session, pair_id), FORECAST)
            else:
                frames[name] = _listed(session, name, pair_id=pair_id)
    return frames, _stamp(serving.clock.today(whose["time_zone"]))
