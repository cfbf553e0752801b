"""Looks storage: what was found at the soles on some pairs, and which photographs are there?"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.rack import Check, Sole

__all__ = ["last_looks", "photographs_of"]

AT_ONCE = 5_000


def last_looks(session: Session, pair_pks: Collection[int]) -> dict[int, dict[str, Any]]:
    """Return the last check at the ball of the sole on each pair that has one, by its number."""
    names = ("pair_pk", "checked_on", "foot", "grade", "value_mm")
    query = (
        sa.select(*(getattr(Check, name) for name in names))
        .join(Sole, (Sole.pair_pk == Check.pair_pk) & Sole.removed_on.is_(None))
        .where(Check.point == "ball", Check.checked_on >= Sole.fitted_on)
        .order_by(Check.checked_on, Check.id)
    )
    return {
        row.pair_pk: dict(row._mapping)  # noqa: SLF001 - the library's own name for it
        for some in _parts(pair_pks)
        for row in session.execute(query.where(Check.pair_pk.in_(some)))
    }


def photographs_of(session: Session, pair_pks: Collection[int]) -> dict[int, str]:
    """Return the newest photograph of each pair that has one, by the pair's number."""
    query = sa.select(PairPhoto.pair_pk, PairPhoto.photo_id).order_by(PairPhoto.id)
    return {
        row[0]: row[1]
        for some in _parts(pair_pks)
        for row in session.execute(query.where(PairPhoto.pair_pk.in_(some)))
    }


def _parts(pair_pks: Collection[int]) -> Iterator[list[int]]:
    every = [int(pk) for pk in pair_pks]
    return (every[start : start + AT_ONCE] for start in range(0, len(every), AT_ONCE))
