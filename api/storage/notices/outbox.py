"""Outbox storage.

How do workers share the outbox, so that no notice is lost and none is sent by two at once?

A worker claims rows by a conditional update and holds them for a lease. A row whose lease ran out,
because its worker died, is claimed again. What a worker marks must still be its own. At least once,
never exactly once: a crash between sending and marking sends again, with the same Message-ID.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.channels import CHANNELS, ON_PAPER
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.notices import Consent, Notice, NoticePair, Outbox
from solespan.api.storage.tables.rack import Sole, Wearer

__all__ = [
    "OVERTAKEN",
    "SETTLED",
    "address_of_mail",
    "cancel_unsent",
    "claim",
    "finish",
    "letters",
    "mark_printed",
    "mark_returned",
    "next_due",
    "release",
    "retry_failed",
]

SETTLED = "every pair is booked in or has another sole by now"
OVERTAKEN = "a pair is booked in or has another sole by now; the others are looked at again"
MAIL = "mail"  # reports of mail servers are about no other channel
_OUTBOX: sa.Table = Outbox.__table__  # type: ignore[assignment]
_NOTICES: sa.Table = Notice.__table__  # type: ignore[assignment]
_PAIRS: sa.Table = NoticePair.__table__  # type: ignore[assignment]
_CONSENTS: sa.Table = Consent.__table__  # type: ignore[assignment]


def _claimable(now: datetime) -> sa.ColumnElement[bool]:
    waiting = (_OUTBOX.c.state == "pending") & (_OUTBOX.c.next_try_at <= now)
    left = (_OUTBOX.c.state == "claimed") & (_OUTBOX.c.lease_until < now)
    return waiting | left


def claim(
    session: Session, *, worker: str, now: datetime, lease_until: datetime, limit: int
) -> list[dict[str, Any]]:
    """Take up to `limit` rows that are due, and return all that sending them needs.

    `consented`, `settled`, `overtaken`, `address` and `time_zone` say how things are now, not when
    it was decided. `resumed` says that a worker which is gone had it, and may have sent it.
    """
    due = (
        sa.select(_OUTBOX.c.id, _OUTBOX.c.state)
        .where(_claimable(now))
        .order_by(_OUTBOX.c.next_try_at, _OUTBOX.c.id)
        .limit(limit)
        .with_for_update(skip_locked=True)  # PostgreSQL; SQLite has one writer anyway
    )
    before = {row.id: row.state for row in session.execute(due)}
    ids = list(before)
    if not ids:
        return []
    taken = (
        sa.update(_OUTBOX)
        .where(_OUTBOX.c.id.in_(ids), _claimable(now))
        .values(
            state="claimed",
            worker=worker,
            lease_until=lease_until,
            attempts=_OUTBOX.c.attempts + 1,
        )
        .returning(_OUTBOX.c.id)
    )
    mine = list(session.execute(taken).scalars())
    return [row | {"resumed": before[row["id"]] == "claimed"} for row in _claimed(session, mine)]


def _claimed(session: Session, ids: Collection[int]) -> list[dict[str, Any]]:
    consented = sa.exists().where(
        _CONSENTS.c.wearer_pk == _NOTICES.c.wearer_pk,
        _CONSENTS.c.channel == _OUTBOX.c.channel,
        _CONSENTS.c.withdrawn_at.is_(None),
    )
    by_wearer = [n for n, e in CHANNELS.items() if e.address.kept == "wearer"]
    kept = sa.case(
        (_OUTBOX.c.channel.in_(by_wearer), Wearer.email),
        else_=_kept_address(_OUTBOX.c.channel == _CONSENTS.c.channel),
    )
    query = (
        sa.select(
            _OUTBOX.c.id,
            _OUTBOX.c.channel,
            _OUTBOX.c.message_id,
            _OUTBOX.c.payload,
            _OUTBOX.c.made_at,
            _OUTBOX.c.attempts,
            _NOTICES.c.notice_id,
            Wearer.wearer_id,
            Wearer.name,
            kept.label("address"),
            Wearer.time_zone,
            consented.label("consented"),
            (~_any_pair(~_settled())).label("settled"),
            _any_pair(_settled()).label("overtaken"),
        )
        .join(_NOTICES, _OUTBOX.c.notice_pk == _NOTICES.c.id)
        .join(Wearer, _NOTICES.c.wearer_pk == Wearer.id)
        .where(_OUTBOX.c.id.in_(list(ids)))
        .order_by(_OUTBOX.c.next_try_at, _OUTBOX.c.id)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def _kept_address(channel: sa.ColumnElement[bool]) -> sa.ScalarSelect[Any]:
    """Read the address that a customer's consent keeps for a channel."""
    return (
        sa.select(_CONSENTS.c.address)
        .where(_CONSENTS.c.wearer_pk == Wearer.id, channel, _CONSENTS.c.withdrawn_at.is_(None))
        .limit(1)
        .scalar_subquery()
    )


def _settled() -> sa.ColumnElement[bool]:
    """Whether a notice's pair is booked, at the bench, or rid of the sole it was about."""
    ordered = sa.exists().where(
        BenchOrder.pair_pk == _PAIRS.c.pair_pk, BenchOrder.stage.in_(OPEN_STAGES)
    )
    removed = sa.exists().where(Sole.sole_id == _PAIRS.c.sole_id, Sole.removed_on.is_not(None))
    return ordered | removed


def _any_pair(fits: sa.ColumnElement[bool]) -> sa.ColumnElement[bool]:
    """Whether this holds of any pair of a notice."""
    return sa.exists().where(_PAIRS.c.notice_pk == _NOTICES.c.id, fits)


def finish(session: Session, row_pk: int, worker: str, **values: Any) -> bool:
    """Mark a claimed row; return whether it was still this worker's."""
    query = sa.update(_OUTBOX).where(
        _OUTBOX.c.id == row_pk, _OUTBOX.c.state == "claimed", _OUTBOX.c.worker == worker
    )
    result = session.execute(query.values(lease_until=None, worker=None, **values))
    return bool(result.rowcount)  # type: ignore[attr-defined]


def release(
    session: Session, row_pks: Collection[int], worker: str, not_before: datetime | None = None
) -> None:
    """Give back rows that were claimed and not tried, perhaps to be tried later only."""
    query = sa.update(_OUTBOX).where(
        _OUTBOX.c.id.in_(list(row_pks)),
        _OUTBOX.c.state == "claimed",
        _OUTBOX.c.worker == worker,
    )
    values: dict[str, Any] = {"state": "pending", "worker": None, "lease_until": None}
    if not_before is not None:
        values["next_try_at"] = not_before
    session.execute(query.values(attempts=_OUTBOX.c.attempts - 1, **values))


def next_due(session: Session) -> datetime | None:
    """Return when the next row may be tried, or None when nothing waits."""
    at = sa.case((_OUTBOX.c.state == "claimed", _OUTBOX.c.lease_until), else_=_OUTBOX.c.next_try_at)
    query = sa.select(at).where(_OUTBOX.c.state.in_(("pending", "claimed"))).order_by(at).limit(1)
    return session.execute(query).scalar_one_or_none()


def cancel_unsent(
    session: Session, wearer_pk: int, channel: str | None, why: str, at: datetime
) -> int:
    """Stop what waits for a customer by one channel, or by any; return how many.

    A letter waits until somebody has printed it.
    """
    of_wearer = sa.select(_NOTICES.c.id).where(_NOTICES.c.wearer_pk == wearer_pk)
    query = sa.update(_OUTBOX).where(
        _OUTBOX.c.notice_pk.in_(of_wearer), (_OUTBOX.c.state == "pending") | _on_the_list()
    )
    if channel is not None:
        query = query.where(_OUTBOX.c.channel == channel)
    result = session.execute(query.values(state="cancelled", problem=why, done_at=at))
    return int(result.rowcount)  # type: ignore[attr-defined]


def retry_failed(session: Session, notice_pk: int, now: datetime) -> bool:
    """Let a notice that failed be tried again; return whether it had failed."""
    query = sa.update(_OUTBOX).where(_OUTBOX.c.notice_pk == notice_pk, _OUTBOX.c.state == "failed")
    result = session.execute(
        query.values(
            state="pending", next_try_at=now, made_at=now, attempts=0, problem=None, done_at=None
        )
    )
    return bool(result.rowcount)  # type: ignore[attr-defined]


def address_of_mail(session: Session, message_id: str) -> str | None:
    """Return the address, as it is now, of the customer whom a mail with this id was for."""
    query = (
        sa.select(Wearer.email)
        .join(_NOTICES, _NOTICES.c.wearer_pk == Wearer.id)
        .join(_OUTBOX, _OUTBOX.c.notice_pk == _NOTICES.c.id)
        .where(_OUTBOX.c.message_id == message_id, _OUTBOX.c.channel == MAIL)
    )
    return session.execute(query).scalar_one_or_none()


def mark_returned(session: Session, message_id: str, problem: str, at: datetime) -> None:
    """Mark a mail that was sent as not delivered: it came back."""
    query = sa.update(_OUTBOX).where(_OUTBOX.c.message_id == message_id, _OUTBOX.c.state == "sent")
    session.execute(query.values(state="failed", problem=problem, done_at=at))


def _on_the_list() -> sa.ColumnElement[bool]:
    return (
        _OUTBOX.c.channel.in_(ON_PAPER)
        & (_OUTBOX.c.state == "sent")
        & _OUTBOX.c.printed_at.is_(None)
    )


def letters(session: Session, limit: int) -> list[dict[str, Any]]:
    """Return the letters on the print list that nobody has said are printed, oldest first.

    Without those whose pairs have all been booked in, or soled, since they were written.
    """
    address = _kept_address(_OUTBOX.c.channel == _CONSENTS.c.channel).label("address")
    query = (
        sa.select(_OUTBOX.c.id, _OUTBOX.c.payload, _OUTBOX.c.made_at, Wearer.name, address)
        .join(_NOTICES, _OUTBOX.c.notice_pk == _NOTICES.c.id)
        .join(Wearer, _NOTICES.c.wearer_pk == Wearer.id)
        .where(_on_the_list(), _any_pair(~_settled()))
        .order_by(_OUTBOX.c.id)
        .limit(limit)
    )
    return [dict(row) for row in session.execute(query).mappings()]


def mark_printed(session: Session, up_to: int, at: datetime) -> int:
    """Take letters off the print list, up to a row number; return how many were printed.

    Those that were not shown any more, as their pairs are settled, will not be printed either.
    """
    on_the_list = sa.select(_OUTBOX.c.notice_pk).where(_on_the_list())
    settled = sa.select(_NOTICES.c.id).where(
        _NOTICES.c.id.in_(on_the_list), ~_any_pair(~_settled())
    )
    listed = sa.update(_OUTBOX).where(_OUTBOX.c.id <= up_to, _on_the_list())
    session.execute(
        listed.where(_OUTBOX.c.notice_pk.in_(settled)).values(
            state="cancelled", problem=SETTLED, done_at=at
        )
    )
    return int(session.execute(listed.values(printed_at=at)).rowcount)  # type: ignore[attr-defined]
