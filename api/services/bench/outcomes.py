"""Outcomes of due pairs: did a pair that was due come to the shop?"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.workload import DueOutcomeGiven
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.bench.workload import (
    put_outcome,
)
from solespan.api.storage.rack.records import owner_of
from solespan.api.storage.scope import name_changed

__all__ = ["keep_outcome"]


def keep_outcome(session: Session, given: DueOutcomeGiven) -> bool:
    """Keep what became of a due pair; return whether it is new. Raises for an unknown pair."""
    owner = owner_of(session, "pair_id", given.pair_id, lock=True)
    if owner is None or owner.pair_pk is None:
        raise unknown_id(session, "pairs", "pair_id", given.pair_id)
    new = put_outcome(session, owner.pair_pk, given.model_dump(exclude={"pair_id"}))
    name_changed(pair_id=given.pair_id, due_on=given.due_on)
    return bool(new)
