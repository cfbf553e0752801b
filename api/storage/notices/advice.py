"""Advice taken: did a pair come because one of our notices said so, and what was heard since?"""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.rack.records import soles_of
from solespan.api.storage.tables.notices import ENDING_ANSWERS, Notice, NoticePair, Outbox
from solespan.api.storage.tables.rack import Check, Pair, WearDay

__all__ = ["ADVICE_DAYS", "came_by_advice", "load_evidence"]

ADVICE_DAYS = 84  # a pair that comes so long after the day told came because of the notice
_NOTICES: sa.Table = Notice.__table__  # type: ignore[assignment]
_PAIRS: sa.Table = NoticePair.__table__  # type: ignore[assignment]
_OUTBOX: sa.Table = Outbox.__table__  # type: ignore[assignment]


def came_by_advice(session: Session, pair_pk: int, day: date) -> bool:
    """Whether a notice about the sole on a pair had gone out, and its window holds on a day."""
    soles = [sole for sole in soles_of(session, pair_pk) if sole["fitted_on"] <= day]
    if not soles:
        return False
    out = sa.select(_OUTBOX.c.notice_pk).where(
        _OUTBOX.c.state == "sent",
        sa.or_(_OUTBOX.c.channel != "print", _OUTBOX.c.printed_at.is_not(None)),
    )
    query = (
        sa.select(_NOTICES.c.decided_on, _PAIRS.c.told_day)
        .join(_NOTICES, _PAIRS.c.notice_pk == _NOTICES.c.id)
        .where(
            _PAIRS.c.pair_pk == pair_pk,
            _PAIRS.c.sole_id == soles[-1]["sole_id"],
            _PAIRS.c.notice_pk.in_(out),
            sa.or_(_PAIRS.c.answer.is_(None), _PAIRS.c.answer.not_in(ENDING_ANSWERS)),
        )
    )
    window = timedelta(days=ADVICE_DAYS)
    rows = session.execute(query).all()
    return any(told <= day <= max(told, counted_to) + window for told, counted_to in rows)


def load_evidence(session: Session) -> pd.DataFrame:
    """Return the last day on which each pair that was written about was looked at or worn.

    Columns `pair_id`, `evidence_on` (a date): its last check, wear day or word of its owner.
    """
    told = sa.select(_PAIRS.c.pair_pk).distinct()
    said = Pair.in_use_on.is_not(None)
    every = sa.union_all(
        sa.select(WearDay.pair_pk, WearDay.worn_on).where(WearDay.pair_pk.in_(told)),
        sa.select(Check.pair_pk, Check.checked_on).where(Check.pair_pk.in_(told)),
        sa.select(Pair.id, Pair.in_use_on).where(Pair.id.in_(told), said),
    ).subquery()
    pair_pk, day = every.c[0], every.c[1]
    query = sa.select(Pair.pair_id, sa.func.max(day)).join(Pair, pair_pk == Pair.id)
    rows = [tuple(row) for row in session.execute(query.group_by(Pair.pair_id))]
    return pd.DataFrame(rows, columns=["pair_id", "evidence_on"], dtype=object)
