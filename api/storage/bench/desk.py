"""Desk storage: which answers are not seen yet, and which pairs could be asked for now?"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.notices import Notice, NoticePair
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.api.storage.tables.results import ForecastRow
from solespan.forecast.frames import PROBABLY_GONE

__all__ = ["any_customer", "count_to_ask", "note_seen", "pairs_to_ask", "unseen_answers"]

_OWNER = sa.func.coalesce(Wearer.name, Wearer.wearer_id).label("owner")
_SHOWN = (
    Pair.pair_id,
    Pair.label.label("pair_label"),
    Wearer.wearer_id,
    _OWNER,
    Wearer.phone,
)


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


def pairs_to_ask(
    session: Session, bands: tuple[str, ...], *, skip: int, most: int
) -> list[dict[str, Any]]:
    """Return pairs of these bands without an open order, the soonest send-by day first."""
    query = _to_ask(bands, *_SHOWN, ForecastRow.band, ForecastRow.send_by)
    query = query.order_by(ForecastRow.send_by, Pair.pair_id).limit(most).offset(skip)
    return [dict(row) for row in session.execute(query).mappings()]


def count_to_ask(session: Session, bands: tuple[str, ...]) -> int:
    """Count the pairs that `pairs_to_ask` returns."""
    return int(session.execute(_to_ask(bands, sa.func.count())).scalar_one())


def _to_ask(bands: tuple[str, ...], *columns: Any) -> sa.Select[Any]:
    busy = sa.exists().where(
        BenchOrder.pair_pk == ForecastRow.pair_pk, BenchOrder.stage.in_(OPEN_STAGES)
    )
    return (
        sa.select(*columns)
        .select_from(ForecastRow)
        .join(Pair, ForecastRow.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(
            ForecastRow.foot == "pair",
            ForecastRow.point == "ball",
            ForecastRow.band.in_(bands),
            ForecastRow.send_by.is_not(None),
            sa.func.coalesce(ForecastRow.chance_in_use, 1.0) >= PROBABLY_GONE,
            ~busy,
        )
    )


def any_customer(session: Session) -> bool:
    """Return whether the shop has a customer."""
    return session.execute(sa.select(Wearer.id).limit(1)).first() is not None
