"""Outcomes of due pairs: did a pair that was due come to the shop?

What nobody tells is supposed from the forecasts, again and again, so it follows them both ways.
"""

from __future__ import annotations

from datetime import date

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.schemas.bench.workload import DueOutcomeGiven
from solespan.api.services.rack.records import unknown_id
from solespan.api.storage.bench.workload import (
    followed_since,
    load_outcomes,
    put_outcome,
    replace_supposed,
)
from solespan.api.storage.forecasts.forecasts import load_forecasts
from solespan.api.storage.rack.frames import load_rows
from solespan.api.storage.rack.records import owner_of
from solespan.api.storage.scope import name_changed
from solespan.api.storage.session import Database
from solespan.forecast.workload import due_table, suppose_outcomes

__all__ = ["keep_outcome", "keep_supposed"]


def keep_outcome(session: Session, given: DueOutcomeGiven) -> bool:
    """Keep what became of a due pair; return whether it is new. Raises for an unknown pair."""
    owner = owner_of(session, "pair_id", given.pair_id, lock=True)
    if owner is None or owner.pair_pk is None:
        raise unknown_id(session, "pairs", "pair_id", given.pair_id)
    new = put_outcome(session, owner.pair_pk, given.model_dump(exclude={"pair_id"}))
    name_changed(pair_id=given.pair_id, due_on=given.due_on)
    return bool(new)


def keep_supposed(database: Database, today: date) -> int:
    """Suppose anew what became of due pairs; return how many rows changed. Again changes nothing.

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
        outcomes = load_outcomes(session)
    due = due_table(forecast, soles, pairs)
    wanted = suppose_outcomes(due, forecast, soles, outcomes, pd.Timestamp(since), as_of)
    before = outcomes[outcomes["supposed"]]
    if _rows(wanted) == _rows(before):
        return 0
    with database.writing() as session:
        return replace_supposed(session, wanted)


def _rows(frame: pd.DataFrame) -> set[tuple[object, ...]]:
    rows = frame[["pair_id", "due_on", "outcome", "came_on"]].astype(str)
    return set(rows.itertuples(index=False, name=None))
