"""Supposed outcomes of due pairs: what became of a pair that was due, where nobody told?

They are supposed from the forecasts, again and again, so they follow them both ways.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from solespan.api.storage.bench.asking_facts import load_limit_facts
from solespan.api.storage.bench.workload import (
    followed_since,
    last_worn,
    load_outcomes,
    replace_supposed,
)
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.session import Database
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.workload import due_table, suppose_outcomes

__all__ = ["keep_supposed"]


def keep_supposed(database: Database, today: date) -> int:
    """Suppose what became of due pairs; return how many rows changed. Again changes nothing.

    A pair past its date is open since then, one that is probably gone has declined. When the pair
    comes, is looked at or is said to be in use, that takes the place of what was supposed.
    """
    as_of = pd.Timestamp(today)
    with database.reading() as session:
        since = followed_since(session)
        if since is None:
            return 0
        forecast = load_forecasts(session).assign(as_of=as_of.as_unit("s"))
        soles, pairs = (
            load_rows(session, name, by="wearer_id", ids=None) for name in ("soles", "pairs")
        )
        soles = with_own_limits(soles, *load_limit_facts(session))
        outcomes, worn_on = load_outcomes(session), last_worn(session)
    due = due_table(forecast, soles, pairs, worn_on)
    wanted = suppose_outcomes(due, forecast, soles, outcomes, pd.Timestamp(since), as_of)
    before = outcomes[outcomes["supposed"]]
    if _rows(wanted) == _rows(before):
        return 0
    with database.writing() as session:
        return replace_supposed(session, wanted)


def _rows(frame: pd.DataFrame) -> set[tuple[object, ...]]:
    rows = frame[["pair_id", "due_on", "outcome", "came_on"]].astype(str)
    return set(rows.itertuples(index=False, name=None))
