"""Page frames service: how are stored rows read as the frames that pages and figures take?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.storage.forecasts import forecast_reads, rack_list
from solespan.api.storage.rack.frames import frame_of_rows
from solespan.api.storage.rack.records import list_records, owner_of
from solespan.forecast.frames import FORECAST, TABLES, Column
from solespan.forecast.log import WearLog

__all__ = ["MOST_ROWS", "due_rows", "framed", "listed", "log_of_pair", "whose_page"]

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


def due_rows(session: Session, wearer_id: str) -> pd.DataFrame:
    """Read the resole row of each pair of a wearer."""
    rows = forecast_reads.list_due(
        session,
        forecast_reads.DueFilter(wearer_id=wearer_id, foot="pair", point="ball"),
        after=None,
        limit=MOST_ROWS,
    )
    return framed(rows, FORECAST)


def whose_page(session: Session, wearer_id: str) -> tuple[str, str]:
    """Return whose page it is, and the time zone that holds there.

    It is the one chosen, or the only wearer there is, else nobody's. The zone is then the one that
    all live in, or UTC where they live in several.
    """
    if wearer_id:
        owner = owner_of(session, "wearer_id", wearer_id, lock=False)
        return ("", "UTC") if owner is None else (wearer_id, owner.time_zone)
    some = list_records(session, "wearers", equal={}, limit=2)
    if len(some) == 1:
        return str(some[0]["wearer_id"]), str(some[0]["time_zone"])
    zones = rack_list.time_zones(session)
    return "", zones[0] if len(zones) == 1 else "UTC"


def log_of_pair(session: Session, pair_id: str, wearer_id: str) -> WearLog:
    """Read all that is logged of one pair, and who wears it."""
    return WearLog(
        wearers=listed(session, "wearers", wearer_id=wearer_id),
        pairs=listed(session, "pairs", pair_id=pair_id),
        soles=listed(session, "soles", pair_id=pair_id),
        wear_days=listed(session, "wear_days", pair_id=pair_id),
        checks=listed(session, "checks", pair_id=pair_id),
        bench_jobs=listed(session, "bench_jobs", pair_id=pair_id),
        layers=listed(session, "layers", pair_id=pair_id),
    )
