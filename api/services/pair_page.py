"""Which frames do the pair page and its figures draw from, in a bounded number of statements?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
import structlog
from sqlalchemy.orm import Session

from api.errors import NothingForecast, Refused, SolespanError
from api.services.page_frames import framed, listed, log_of_pair
from api.services.pages import just_logged
from api.services.planning.care import care_due
from api.services.planning.life import life_of_rack
from api.services.planning.ways import routes_for_pair
from api.services.records import unknown_id
from api.storage import due
from api.storage.records import find_record
from api.wiring import Services
from dashboards.pages.pair import pair_page
from dashboards.pages.upkeep import upkeep_page
from forecast import Explanation
from forecast.errors import ForecastError
from forecast.frames import FORECAST, PATH

__all__ = ["figure_frames", "pair_context", "pair_name", "upkeep_context"]

log = structlog.get_logger("solespan.pages")

BEYOND_FORECASTS = (SolespanError, ForecastError)


def pair_context(serving: Services, pair_id: str, logged_on: str = "") -> dict[str, Any]:
    """Gather the pair page, all but its forms. Raises `NotFound`.

    `logged_on` is the day of a wear that was logged just now, to change or undo.
    """
    with serving.database.reading() as session:
        whose = due.wearer_of_pair(session, pair_id)
        if whose is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        today = pd.Timestamp(serving.clock.today(whose["time_zone"]))
        pair_log = log_of_pair(session, pair_id, whose["wearer_id"])
        forecast = framed(due.forecast_of_pair(session, pair_id), FORECAST)
        explanation = _explanation(serving, session, pair_id)
        path = _path(serving, session, pair_id)
        just = just_logged(session, pair_id, logged_on)
    context = pair_page(
        pair_id,
        pair_log,
        forecast,
        today=today,
        risk=serving.settings.risk,
        limit_mm=_limit_at_ball(path),
        next_checks=None if explanation is None else explanation.next_checks,
        reasons=None if explanation is None else explanation.sentences,
        drivers=None if explanation is None else explanation.drivers,
        horizon_days=serving.settings.horizon_days,
    )
    days = pair_log.wear_days
    return context | {
        "today_iso": f"{today:%Y-%m-%d}",
        "worn_today": bool((days["worn_on"] == today).any()),
        "logged": None if just is None else just | {"label": context["label"]},
    }


def pair_name(serving: Services, pair_id: str) -> dict[str, Any]:
    """Return what the pages below a pair's need: its id, what it is called, and the day it is.

    Raises `NotFound`.
    """
    with serving.database.reading() as session:
        row = find_record(session, "pairs", {"pair_id": pair_id})
        if row is None:
            raise unknown_id(session, "pairs", "pair_id", pair_id)
        whose = due.wearer_of_pair(session, pair_id)
    today = serving.clock.today("UTC" if whose is None else whose["time_zone"])
    return {
        "pair_id": pair_id,
        "label": row["label"] or pair_id,
        "today_iso": today.isoformat(),
    }


def upkeep_context(serving: Services, pair_id: str) -> dict[str, Any]:
    """Gather care, ways to a new sole and cost of one pair. Raises `NotFound`."""
    named = pair_name(serving, pair_id)
    with serving.database.reading() as session:
        whose = due.wearer_of_pair(session, pair_id)
    wearer_id = "" if whose is None else whose["wearer_id"]
    missing = []
    ways: dict[str, Any] | None = None
    life: dict[str, Any] | None = None
    try:
        ways = routes_for_pair(serving, pair_id)
        life = life_of_rack(serving, wearer_id)
    except (NothingForecast, Refused) as refused:
        missing.append(refused.what)
    return named | upkeep_page(
        care_due(serving, wearer_id)["items"],
        ways,
        None if life is None else life["items"],
        pair_id,
        missing=missing,
    )


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
        return framed([], PATH)


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
                frames[name] = framed(due.forecast_of_pair(session, pair_id), FORECAST)
            else:
                frames[name] = listed(session, name, pair_id=pair_id)
    return frames, pd.Timestamp(serving.clock.today(whose["time_zone"]))
