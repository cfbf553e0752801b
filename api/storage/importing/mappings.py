"""Import mappings storage.

By which choices were sheets with the same headers read before, and which names are known here?
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date, datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import ImportMapping

__all__ = ["find_mapping", "fitted_days", "forget_mappings", "known_labels", "put_mapping"]

_MAPPINGS: sa.Table = ImportMapping.__table__  # type: ignore[assignment]


def find_mapping(session: Session, fingerprint: str) -> dict[str, str]:
    """Return the choices kept for these headers; empty while there are none."""
    query = sa.select(_MAPPINGS.c.answers).where(_MAPPINGS.c.fingerprint == fingerprint)
    return dict(session.execute(query).scalar() or {})


def put_mapping(session: Session, fingerprint: str, answers: dict[str, str], now: datetime) -> None:
    """Keep the choices of these headers in place of earlier ones."""
    hold_key(session, "mapping", fingerprint)
    session.execute(sa.delete(_MAPPINGS).where(_MAPPINGS.c.fingerprint == fingerprint))
    values = {"fingerprint": fingerprint, "answers": answers, "used_at": now}
    session.execute(sa.insert(_MAPPINGS).values(**values))


def forget_mappings(session: Session, quotes: Callable[[dict[str, str]], bool]) -> None:
    """Delete the mappings whose choices `quotes` finds to name somebody."""
    for row in session.execute(sa.select(_MAPPINGS.c.id, _MAPPINGS.c.answers)).all():
        if quotes(row.answers):
            session.execute(sa.delete(_MAPPINGS).where(_MAPPINGS.c.id == row.id))


def fitted_days(session: Session) -> dict[str, frozenset[date]]:
    """Return the days on which the soles of each pair were fitted, by the pair's id."""
    query = sa.select(Pair.pair_id, Sole.fitted_on).join(Sole, Sole.pair_pk == Pair.id)
    days: dict[str, set[date]] = defaultdict(set)
    for pair_id, day in session.execute(query):
        days[pair_id].add(day)
    return {pair_id: frozenset(of) for pair_id, of in days.items()}


def known_labels(session: Session) -> tuple[dict[str, str], dict[str, str]]:
    """Return the names of all wearers and the labels of all pairs by id; an id where none is."""
    wearers = session.execute(sa.select(Wearer.wearer_id, Wearer.name)).all()
    pairs = session.execute(sa.select(Pair.pair_id, Pair.label)).all()
    return {key: name or key for key, name in wearers}, {key: label or key for key, label in pairs}
