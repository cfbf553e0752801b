"""Wearer partitions: which wearers' logs are read at a time, so that few rows are in memory?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = ["pair_counts", "partitions"]


def pair_counts(session: Session) -> dict[str, int]:
    """Return how many pairs each wearer has who has one, in the order of their ids."""
    query = (
        sa.select(Wearer.wearer_id, sa.func.count(Pair.id))
        .join(Pair, Pair.wearer_pk == Wearer.id)
        .group_by(Wearer.wearer_id)
        .order_by(Wearer.wearer_id)
    )
    return {row[0]: row[1] for row in session.execute(query)}


def partitions(
    wearer_ids: Sequence[str], counts: dict[str, int], most_pairs: int
) -> Iterator[list[str]]:
    """Cut wearers into neighbours who have at most so many pairs together; one may have more."""
    part: list[str] = []
    pairs = 0
    for wearer_id in wearer_ids:
        more = counts.get(wearer_id, 0)
        if part and pairs + more > most_pairs:
            yield part
            part, pairs = [], 0
        part.append(wearer_id)
        pairs += more
    if part:
        yield part
