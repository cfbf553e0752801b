"""Lease storage: which process does a kind of work of a tenant now, and until when?

A lease is one row. The process that does the work takes it and renews it. A process that died loses
it when its time is over. A lease without an owner rests: the work was done, and is not due before
that moment.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from solespan.api.storage.scope import UNNOTED
from solespan.api.storage.tables.results import Lease

__all__ = ["NOBODY", "end_lease", "forget_leases_before", "is_free", "renew_lease", "take_lease"]

_LEASES: sa.Table = Lease.__table__  # type: ignore[assignment]
_QUIETLY = {UNNOTED: True}  # no change that anybody made
NOBODY = ""
# No lease is given for longer. One that ends later was written by a clock that was wrong.
LONGEST = timedelta(days=2)


def _free(now: datetime, *, over_rest: bool) -> sa.ColumnElement[bool]:
    free = [_LEASES.c.until <= now, _LEASES.c.until > now + LONGEST]
    if over_rest:
        free.append(_LEASES.c.owner == NOBODY)
    return sa.or_(*free)


def is_free(session: Session, name: str, now: datetime, *, over_rest: bool = False) -> bool:
    """Return whether nobody has the lease now; with `over_rest` also where it only rests."""
    held = sa.select(_LEASES.c.id).where(_LEASES.c.name == name, ~_free(now, over_rest=over_rest))
    return session.execute(held).first() is None


def take_lease(
    session: Session,
    name: str,
    *,
    owner: str,
    now: datetime,
    until: datetime,
    over_rest: bool = False,
) -> bool:
    """Take a lease that is free; return whether it is the owner's now."""
    values = {"name": name, "owner": owner, "until": until}
    taken = sa.update(_LEASES).where(_LEASES.c.name == name, _free(now, over_rest=over_rest))
    if _count(session, taken.values(values)):
        return True
    postgresql = session.get_bind().dialect.name == "postgresql"
    insert = postgresql_insert(_LEASES) if postgresql else sqlite_insert(_LEASES)
    made = insert.values(values).on_conflict_do_nothing().returning(_LEASES.c.id)
    return session.execute(made, execution_options=_QUIETLY).first() is not None


def renew_lease(session: Session, name: str, *, owner: str, until: datetime) -> bool:
    """Keep a lease until later; return whether it still was the owner's."""
    mine = sa.update(_LEASES).where(_LEASES.c.name == name, _LEASES.c.owner == owner)
    return bool(_count(session, mine.values(until=until)))


def end_lease(session: Session, name: str, *, owner: str, rest_until: datetime | None) -> None:
    """Give a lease back: free at once, or at rest until then."""
    mine = (_LEASES.c.name == name, _LEASES.c.owner == owner)
    if rest_until is None:
        _count(session, sa.delete(_LEASES).where(*mine))
    else:
        _count(session, sa.update(_LEASES).where(*mine).values(owner=NOBODY, until=rest_until))


def forget_leases_before(session: Session, moment: datetime) -> None:
    """Delete what was left by processes that died before `moment`."""
    _count(session, sa.delete(_LEASES).where(_LEASES.c.until < moment))


def _count(session: Session, statement: sa.Update | sa.Delete) -> int:
    result = session.execute(statement, execution_options=_QUIETLY)
    return int(result.rowcount)  # type: ignore[attr-defined]
