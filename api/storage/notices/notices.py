"""Notices storage.

What do decisions about notices read, and how are they written and looked back on?

Everything a decision needs is read in a few statements over all pairs, as frames.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.bench_words import OPEN_STAGES
from solespan.api.channels import ON_PAPER
from solespan.api.errors import Conflict
from solespan.api.storage.rack.frames import frame_of_rows
from solespan.api.storage.tables.bench import BenchOrder
from solespan.api.storage.tables.notices import ENDING_ANSWERS, Notice, NoticePair, Outbox
from solespan.api.storage.tables.rack import Pair, Sole, Wearer
from solespan.api.storage.tables.results import ForecastRow
from solespan.forecast.frames import FORECAST, Column
from solespan.forecast.layers.thickness import are_guards

__all__ = [
    "PairTold",
    "answer_last",
    "answer_pair",
    "answers_of",
    "find_notice",
    "insert_notice",
    "last_notices",
    "list_notices",
    "load_busy",
    "load_customers",
    "load_due_pairs",
    "load_told",
    "names_of",
    "pairs_of_notice",
    "told_since",
]

_NOTICES: sa.Table = Notice.__table__  # type: ignore[assignment]
_PAIRS: sa.Table = NoticePair.__table__  # type: ignore[assignment]
_OUTBOX: sa.Table = Outbox.__table__  # type: ignore[assignment]
_FORECASTS: sa.Table = ForecastRow.__table__  # type: ignore[assignment]
_READ = (
    "as_of",
    "band",
    "send_by",
    "book_by",
    "due_p10",
    "due_p50",
    "due_p90",
    "first_foot",
    "chance_in_use",
    "reason",
)
_KINDS = {column.name: column for column in FORECAST}
_HEEL = {"heel_p10": "due_p10", "heel_p50": "due_p50", "heel_p90": "due_p90"}


class AlreadyTold(Conflict):
    """Another run told this customer the same just now."""


def load_due_pairs(session: Session, chance_days: int) -> pd.DataFrame:
    """Return every pair with its forecast at the ball, empty where it has none.

    Columns `pair_id`, `wearer_id`, `label`, `pair_pk`, `sole_id`, `as_of`, `band`, `send_by`,
    `book_by`, `due_p10`, `due_p50`, `due_p90`, `first_foot`, `chance_in_use`, `reason`, `chance`.
    `guard`: a guard is on the ground; `heel_p10`, `heel_p50`, `heel_p90`: due dates of the heel.
    """
    heel = _FORECASTS.alias("heel")
    columns = [_KINDS[name] for name in _READ]
    chance = _KINDS[f"chance_{chance_days}d"]
    as_text = session.get_bind().dialect.name == "sqlite"

    def selected(column: Column, table: Any = _FORECASTS) -> sa.ColumnElement[Any]:
        found: sa.ColumnElement[Any] = table.c[column.name]
        # SQLite keeps dates as ISO text, which NumPy reads faster than SQLAlchemy makes objects.
        text = as_text and column.kind == "date"
        return sa.type_coerce(found, sa.String()) if text else found

    query = (
        sa.select(
            Pair.pair_id,
            Wearer.wearer_id,
            Pair.label,
            Pair.id,
            Sole.sole_id,
            *(selected(column) for column in (*columns, chance)),
            *(selected(_KINDS[name], heel).label(label) for label, name in _HEEL.items()),
            Sole.material,
            Sole.nominal_thickness_mm,
            Sole.cover,
        )
        .select_from(Pair)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .outerjoin(
            _FORECASTS,
            (_FORECASTS.c.pair_pk == Pair.id)
            & (_FORECASTS.c.foot == "pair")
            & (_FORECASTS.c.point == "ball"),
        )
        .outerjoin(
            heel, (heel.c.pair_pk == Pair.id) & (heel.c.foot == "pair") & (heel.c.point == "heel")
        )
        .outerjoin(Sole, _FORECASTS.c.sole_pk == Sole.id)
        .order_by(Wearer.id, Pair.id)
    )
    shape = (
        Column("pair_id", "id", ""),
        Column("wearer_id", "id", ""),
        Column("label", "text", ""),
        Column("pair_pk", "integer", ""),
        Column("sole_id", "text", ""),
        *columns,
        chance,
        *(Column(label, "date", "") for label in _HEEL),
        Column("material", "text", ""),
        Column("new_mm", "number", ""),
        Column("cover", "text", ""),
    )
    frame = frame_of_rows(session.execute(query).all(), shape)
    guard = are_guards(frame["material"].to_numpy(), frame["new_mm"].to_numpy(), [*frame["cover"]])
    frame = frame.drop(columns=["material", "new_mm", "cover"]).assign(guard=guard)
    return frame.rename(columns={chance.name: "chance"})


def load_customers(session: Session) -> pd.DataFrame:
    """Return `wearer_id`, `wearer_pk`, `name`, `email`, `time_zone`, `language` of every wearer."""
    names = ["wearer_id", "wearer_pk", "name", "email", "time_zone", "language"]
    query = sa.select(*(getattr(Wearer, "id" if name == "wearer_pk" else name) for name in names))
    rows = [tuple(row) for row in session.execute(query.order_by(Wearer.id))]
    return pd.DataFrame(rows, columns=names).astype({"wearer_id": object, "email": object})


def load_busy(session: Session) -> dict[str, str]:
    """Return `booked` or `at the bench` for each pair with an open order."""
    query = (
        sa.select(Pair.pair_id, BenchOrder.stage)
        .join(Pair, BenchOrder.pair_pk == Pair.id)
        .where(BenchOrder.stage.in_(OPEN_STAGES))
    )
    booked = ("booked", "in_post")
    return {
        row[0]: "booked" if row[1] in booked else "at the bench" for row in session.execute(query)
    }


def load_told(session: Session) -> pd.DataFrame:
    """Return the last notice about each pair that was not lost, and the last one if it was.

    Lost is what failed or was stopped, unless it was answered. An `answer` that ends the matter for
    a sole counts whichever notice of that sole it was given to. Columns `pair_id`, `told_sole_id`,
    `told_window`, `told_sequence`, `told_day`, `told_on`, `answer`, `waiting`; `lost_sole_id`,
    `lost_window`.
    """
    # uncorrelated on purpose: read once, not for every pair
    lost = _PAIRS.c.notice_pk.in_(_in_state("failed", "cancelled")) & _PAIRS.c.answer.is_(None)
    waiting = _PAIRS.c.notice_pk.in_(_in_state("pending", "claimed"))
    unprinted = sa.select(_OUTBOX.c.notice_pk).where(
        _OUTBOX.c.state == "sent", _OUTBOX.c.channel.in_(ON_PAPER), _OUTBOX.c.printed_at.is_(None)
    )
    newest = sa.select(sa.func.max(_PAIRS.c.id)).group_by(_PAIRS.c.pair_pk)
    query = (
        sa.select(
            Pair.pair_id,
            _PAIRS.c.sole_id,
            _PAIRS.c.window,
            _PAIRS.c.sequence,
            _PAIRS.c.told_day,
            _NOTICES.c.decided_on,
            _PAIRS.c.answer,
            waiting | _PAIRS.c.notice_pk.in_(unprinted),
        )
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .join(_NOTICES, _PAIRS.c.notice_pk == _NOTICES.c.id)
        .where(_PAIRS.c.id.in_(newest.where(~lost)))
    )
    names = ["pair_id", "told_sole_id", "told_window", "told_sequence", "told_day", "told_on"]
    rows = [tuple(row) for row in session.execute(query)]
    told = pd.DataFrame(rows, columns=[*names, "answer", "waiting"], dtype=object)
    ended = _ended(session)
    if ended:
        soles = zip(told["pair_id"], told["told_sole_id"], told["answer"], strict=True)
        told["answer"] = [ended.get((pair, sole), answer) for pair, sole, answer in soles]
    query = (
        sa.select(Pair.pair_id, _PAIRS.c.sole_id, _PAIRS.c.window)
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .where(_PAIRS.c.id.in_(newest), lost)
    )
    rows = [tuple(row) for row in session.execute(query)]
    names = ["pair_id", "lost_sole_id", "lost_window"]
    return told.merge(pd.DataFrame(rows, columns=names, dtype=object), on="pair_id", how="outer")


def _in_state(*states: str) -> sa.Select[Any]:
    return sa.select(_OUTBOX.c.notice_pk).where(_OUTBOX.c.state.in_(states))


def _ended(session: Session) -> dict[tuple[str, str], str]:
    """Return the answers after which a sole is written about no more, by pair and sole."""
    query = (
        sa.select(Pair.pair_id, _PAIRS.c.sole_id, _PAIRS.c.answer)
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .where(_PAIRS.c.answer.in_(ENDING_ANSWERS))
    )
    return {(row[0], row[1]): row[2] for row in session.execute(query)}


def last_notices(
    session: Session, wearer_pks: Collection[int] | None = None, *, lock: bool = False
) -> dict[int, tuple[int, date | None]]:
    """Return number of the last notice to each customer who had any, and the date of the last sent.

    What was stopped before it went out has no date. With `lock`, nobody else decides about these
    customers until the transaction ends.
    """
    stopped = _NOTICES.c.id.in_(_in_state("cancelled"))
    sent_on = sa.case((~stopped, _NOTICES.c.decided_on))
    query = sa.select(
        _NOTICES.c.wearer_pk, sa.func.max(_NOTICES.c.id), sa.func.max(sent_on)
    ).group_by(_NOTICES.c.wearer_pk)
    if wearer_pks is not None:
        if lock:
            wearers = sa.select(Wearer.id).where(Wearer.id.in_(list(wearer_pks)))
            session.execute(wearers.order_by(Wearer.id).with_for_update()).all()
        query = query.where(_NOTICES.c.wearer_pk.in_(list(wearer_pks)))
    return {row[0]: (row[1], row[2]) for row in session.execute(query)}


def insert_notice(
    session: Session,
    notice: Mapping[str, Any],
    pairs: Sequence[Mapping[str, Any]],
    outbox: Mapping[str, Any],
) -> int:
    """Write a notice with its pairs and its outbox row; return its number.

    Raises `AlreadyTold` when another run was first.
    """
    try:
        made = session.execute(sa.insert(_NOTICES).values(**notice))
        notice_pk = int(made.inserted_primary_key[0])  # type: ignore[attr-defined]
        rows = [dict(pair) | {"notice_pk": notice_pk} for pair in pairs]
        session.execute(sa.insert(_PAIRS), rows)
        session.execute(sa.insert(_OUTBOX).values(notice_pk=notice_pk, **outbox))
    except IntegrityError as cause:
        raise AlreadyTold("Another run decided the same just now.") from cause
    return notice_pk


_ROW = (
    _NOTICES.c.id,
    _NOTICES.c.notice_id,
    _NOTICES.c.decided_at,
    _NOTICES.c.sequence,
    _OUTBOX.c.channel,
    _OUTBOX.c.state,
    _OUTBOX.c.attempts,
    _OUTBOX.c.next_try_at,
    _OUTBOX.c.done_at,
    _OUTBOX.c.printed_at,
    _OUTBOX.c.problem,
    _OUTBOX.c.message_id,
)


def _notices() -> sa.Select[Any]:
    return (
        sa.select(*_ROW, Wearer.wearer_id)
        .select_from(_NOTICES)
        .join(Wearer, _NOTICES.c.wearer_pk == Wearer.id)
        .join(_OUTBOX, _OUTBOX.c.notice_pk == _NOTICES.c.id)
    )


def list_notices(
    session: Session,
    *,
    state: str | None = None,
    wearer_id: str | None = None,
    below_id: int | None = None,
    limit: int,
) -> list[dict[str, Any]]:
    """Return notices with where they are, newest first, from below a row number on."""
    query = _notices().order_by(_NOTICES.c.id.desc()).limit(limit)
    if state is not None:
        query = query.where(_OUTBOX.c.state == state)
    if wearer_id is not None:
        query = query.where(Wearer.wearer_id == wearer_id)
    if below_id is not None:
        query = query.where(_NOTICES.c.id < below_id)
    return [dict(row) for row in session.execute(query).mappings()]


def find_notice(session: Session, notice_id: str, *, lock: bool = False) -> dict[str, Any] | None:
    """Return one notice with `payload`, `wearer_pk`, `name`, `time_zone`, `language`."""
    query = (
        _notices()
        .add_columns(
            *(_OUTBOX.c.payload, _NOTICES.c.wearer_pk, Wearer.name),
            *(Wearer.time_zone, Wearer.language),
        )
        .where(_NOTICES.c.notice_id == notice_id)
    )
    if lock:
        query = query.with_for_update(of=_NOTICES)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


class PairTold(dict[str, Any]):
    """A pair of a notice: `id`, `place`, `pair_id`, `label`, `pair_pk`, `sole_id`, answer, days."""


def pairs_of_notice(session: Session, notice_pk: int) -> list[PairTold]:
    """Return the pairs of a notice in their order."""
    columns = [c for c in _PAIRS.c if c.name not in ("notice_pk", "foot", "tenant_pk")]
    query = (
        sa.select(*columns, Pair.pair_id, Pair.label)
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .where(_PAIRS.c.notice_pk == notice_pk)
        .order_by(_PAIRS.c.place)
    )
    return [PairTold(row) for row in session.execute(query).mappings()]


def answer_pair(session: Session, told_pk: int, answer: str, at: datetime) -> None:
    """Write the customer's answer about one pair of a notice."""
    query = sa.update(_PAIRS).where(_PAIRS.c.id == told_pk)
    session.execute(query.values(answer=answer, answered_at=at))


def answer_last(session: Session, pair_id: str, answer: str, at: datetime) -> bool:
    """Write an answer to the last notice about a pair's sole of now, unless it has one.

    Return whether there was such a notice.
    """
    last = (
        sa.select(_PAIRS.c.id)
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .join(Sole, (Sole.pair_pk == Pair.id) & (Sole.sole_id == _PAIRS.c.sole_id))
        .where(Pair.pair_id == pair_id, Sole.removed_on.is_(None), _PAIRS.c.answer.is_(None))
        .order_by(_PAIRS.c.id.desc())
        .limit(1)
    )
    told_pk = session.execute(last).scalar()
    if told_pk is None:
        return False
    answer_pair(session, told_pk, answer, at)
    return True


def told_since(session: Session, notice_pk: int) -> bool:
    """Whether a later notice is about a pair that this one is about."""
    later = _PAIRS.alias("later")
    query = (
        sa.select(later.c.id)
        .join(_PAIRS, _PAIRS.c.pair_pk == later.c.pair_pk)
        .where(_PAIRS.c.notice_pk == notice_pk, later.c.notice_pk > notice_pk)
    )
    return session.execute(query.limit(1)).first() is not None


def answers_of(session: Session, notice_pks: Collection[int]) -> dict[int, list[dict[str, Any]]]:
    """Return `pair_id`, `label` and `answer` of the pairs of some notices."""
    query = (
        sa.select(_PAIRS.c.notice_pk, Pair.pair_id, Pair.label, _PAIRS.c.answer)
        .join(Pair, _PAIRS.c.pair_pk == Pair.id)
        .where(_PAIRS.c.notice_pk.in_(list(notice_pks)))
        .order_by(_PAIRS.c.place)
    )
    found: dict[int, list[dict[str, Any]]] = {}
    for row in session.execute(query).mappings():
        found.setdefault(row["notice_pk"], []).append(dict(row))
    return found


def names_of(session: Session, wearer_ids: Collection[str]) -> dict[str, str | None]:
    """Return the names of some customers."""
    query = sa.select(Wearer.wearer_id, Wearer.name).where(Wearer.wearer_id.in_(set(wearer_ids)))
    return {row[0]: row[1] for row in session.execute(query)}
