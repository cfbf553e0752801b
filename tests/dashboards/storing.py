"""How does a rack of the builders get into a database, forecasts included, without a fit?"""

from __future__ import annotations

import pandas as pd

from solespan.api.storage.forecasts.forecast_writes import replace_forecasts
from solespan.api.storage.importing.bulk import insert_rows, pks_by_id
from solespan.api.storage.session import Database
from tests.dashboards.builders import Rack


def store(database: Database, situation: Rack) -> None:
    """Write everything of a rack to an empty database."""
    log = situation.log
    with database.writing() as session:
        insert_rows(session, "wearers", _rows(log.wearers))
        wearers = pks_by_id(session, "wearers", log.wearers["wearer_id"])
        pairs = log.pairs.assign(wearer_pk=log.pairs["wearer_id"].map(wearers))
        insert_rows(session, "pairs", _rows(pairs.drop(columns="wearer_id")))
        known = pks_by_id(session, "pairs", log.pairs["pair_id"])
        for name in ("soles", "wear_days", "checks", "bench_jobs"):
            frame = getattr(log, name)
            frame = frame.assign(pair_pk=frame["pair_id"].map(known)).drop(columns="pair_id")
            insert_rows(session, name, _rows(frame))
        replace_forecasts(session, situation.forecast)


def _rows(frame: pd.DataFrame) -> list[dict]:
    return [
        {name: _plain(value) for name, value in row.items()} for row in frame.to_dict("records")
    ]


def _plain(value):
    if pd.isna(value):
        return None
    return value.date() if isinstance(value, pd.Timestamp) else value
