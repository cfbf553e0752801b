"""Page frames service: how are stored rows read as the frames that pages and figures take?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.context import AppContext
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.rack.frames import frame_of_rows
from solespan.api.storage.rack.records import list_records
from solespan.forecast.frames import FORECAST, TABLES, Column
from solespan.forecast.log import WearLog

__all__ = ["MOST_ROWS", "due_rows", "framed", "listed", "log_of_pair", "today_of"]

MOST_ROWS = 100_000


def listed(
    session: Session, name: str, *, since: tuple[str, date] | None = None, **equal: str
) -> pd.DataFrame:
    """Read the records of one table as a frame: of equal columns, from a day on."""
    rows = list_records(session, name, equal=equal, since=since, limit=MOST_ROWS)
    return framed(rows, TABLES[name].stored)


def framed(rows: Sequence[Mapping[str, Any]], columns: Sequence[Column]) -> pd.DataFrame:
    """Make rows of these columns a frame of the contract."""
    return frame_of_rows([tuple(row[c.name] for c in columns) for row in rows], columns)


def due_rows(session: Session) -> pd.DataFrame:
    """Read the resole row of every pair."""
    rows = forecast_reads.list_due(
        session,
        forecast_reads.DueFilter(wearer_id=None, band=None, foot="pair", point="ball"),
        after=None,
        limit=MOST_ROWS,
    )
    return framed(rows, FORECAST)


def today_of(ctx: AppContext, wearers: pd.DataFrame, wearer_id: str) -> pd.Timestamp:
    """Return the day where the wearer lives; where all live when it is one zone, else UTC."""
    chosen = wearers[wearers["wearer_id"] == wearer_id] if wearer_id else wearers
    zones = set(chosen["time_zone"])
    return pd.Timestamp(ctx.clock.today(zones.pop() if len(zones) == 1 else "UTC"))


def log_of_pair(session: Session, pair_id: str, wearer_id: str) -> WearLog:
    """Read all that is logged of one pair, and who wears it."""
    return WearLog(
        wearers=listed(session, "wearers", wearer_id=wearer_id),
        pairs=listed(session, "pairs", pair_id=pair_id),
        soles=listed(session, "soles", pair_id=pair_id),
        wear_days=listed(session, "wear_days", pair_id=pair_id),
        checks=listed(session, "checks", pair_id=pair_id),
        bench_jobs=listed(session, "bench_jobs", pair_id=pair_id),
    )
