"""Desk storage: which answers are not seen yet, and which pairs could be asked for now?"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.notices import Notice, NoticePair
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.api.storage.tables.results import ForecastRow

__all__ = ["any_customer", "dates_until", "note_seen", "unseen_answers"]

_OWNER = sa.func.coalesce(Wearer.name, Wearer.wearer_id).label("owner")
_SHOWN = (
    Pair.pair_id,
    Pair.label.label("pair_label"),
    Wearer.wearer_id,
    _OWNER,
    Wearer.phone,
)
_DATES = (
    "band",
    "send_by",
    "due_p10",
    "due_p90",
    "wears_left_p10",
    "wears_left_p90",
    "chance_in_use",
)
AT_REST = ("retired", "away")


def unseen_answers(session: Session, since: datetime, most: int) -> list[dict[str, Any]]:
    """Return answers of customers since a moment that nobody has marked as seen, newest first."""
    query = (
        sa.select(
            *_SHOWN, Notice.notice_id, NoticePair.place, NoticePair.answer, NoticePair.answered_at
        )
        .select_from(NoticePair)
        .join(Notice, NoticePair.notice_pk == Notice.id)
        .join(Pair, NoticePair.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(NoticePair.answered_at >= since, NoticePair.seen_at.is_(None))
        .order_by(NoticePair.answered_at.desc(), NoticePair.id)
        .limit(most)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def note_seen(session: Session, notice_id: str, at: datetime) -> int:
    """Mark the answers to a notice as seen; return how many were not before."""
    of = sa.select(Notice.id).where(Notice.notice_id == notice_id).scalar_subquery()
    table: sa.Table = NoticePair.__table__  # type: ignore[assignment]
    query = sa.update(table).where(
        table.c.notice_pk == of, table.c.answered_at.is_not(None), table.c.seen_at.is_(None)
    )
    return int(session.execute(query.values(seen_at=at)).rowcount)  # type: ignore[attr-defined]


def dates_until(session: Session, until: date, most: int) -> list[dict[str, Any]]:
    """Return pairs in use without an open order whose first day to be asked is not after a day.

    The first day is the send-by day, or the 10 % day where that is sooner. Beside who and whose:
    `band`, `send_by`, `due_p10`, `due_p90`, `wears_left_p10`, `wears_left_p90`, `chance_in_use`.
    The soonest send-by days come first, `most` of them.
    """
    busy = sa.exists().where(
        BenchOrder.pair_pk == ForecastRow.pair_pk, BenchOrder.stage.in_(OPEN_STAGES)
    )
    query = (
        sa.select(*_SHOWN, *(getattr(ForecastRow, name) for name in _DATES))
        .select_from(ForecastRow)
        .join(Pair, ForecastRow.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(
            ForecastRow.foot == "pair",
            ForecastRow.point == "ball",
            ForecastRow.band.is_not(None),
            ForecastRow.band.not_in(AT_REST),
            (ForecastRow.send_by <= until) | (ForecastRow.due_p10 <= until + timedelta(days=1)),
            ~busy,
        )
        .order_by(ForecastRow.send_by, Pair.pair_id)
        .limit(most)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def any_customer(session: Session) -> bool:
    """Return whether the shop has a customer."""
    return session.execute(sa.select(Wearer.id).limit(1)).first() is not None
