"""Planning storage: how are plans, traits, routes, care and calendar addresses kept and read?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.planning import (
    CalendarFeed,
    CareDone,
    CareRuleRow,
    PairTraits,
    RackPlanRow,
    RouteRow,
)
from solespan.api.storage.tables.rack import Pair, Wearer

__all__ = [
    "answer_plan",
    "care_done",
    "care_rules_of",
    "feed_made_at",
    "find_plan",
    "find_wearer",
    "forget_feed",
    "forget_route",
    "keep_care",
    "keep_feed",
    "keep_plan",
    "keep_route",
    "keep_rule",
    "keep_traits",
    "newest_asked",
    "plans_asked",
    "plans_of",
    "routes_of",
    "traits_of",
    "wearer_of_secret",
]


def find_wearer(session: Session, wearer_id: str) -> dict[str, Any] | None:
    """Return `pk`, `time_zone`, `data_version` of a wearer, or None."""
    query = sa.select(
        Wearer.id.label("pk"), Wearer.time_zone, Wearer.data_version, Wearer.wearer_id
    ).where(Wearer.wearer_id == wearer_id)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def keep_plan(
    session: Session,
    wearer_pk: int,
    *,
    starts_on: date,
    weeks: int,
    question: dict[str, Any],
    answer: dict[str, Any],
    made_at: datetime,
    state: str = "made",
) -> dict[str, Any]:
    """Keep a plan, or one that is asked for; return it as `find_plan` does."""
    row = RackPlanRow(
        wearer_pk=wearer_pk,
        starts_on=starts_on,
        weeks=weeks,
        question=question,
        answer=answer,
        made_at=made_at,
        state=state,
    )
    session.add(row)
    session.flush()
    found = find_plan(session, row.plan_id)
    if found is None:
        raise RuntimeError("the plan just kept is not there")
    return found


def find_plan(session: Session, plan_id: str) -> dict[str, Any] | None:
    """Return one plan with its number `pk` and its wearer's id, or None."""
    row = session.execute(_plans().where(RackPlanRow.plan_id == plan_id)).mappings().one_or_none()
    return None if row is None else dict(row)


def plans_of(session: Session, wearer_id: str, *, limit: int) -> list[dict[str, Any]]:
    """Return the newest plans of a wearer that were made, the newest first."""
    query = _plans().where(Wearer.wearer_id == wearer_id, RackPlanRow.state == "made")
    query = query.order_by(RackPlanRow.id.desc()).limit(limit)
    return [dict(row) for row in session.execute(query).mappings()]


def newest_asked(session: Session, wearer_id: str) -> dict[str, Any] | None:
    """Return what a wearer asked for last, if that is not a plan yet: its state and answer."""
    query = _plans().where(Wearer.wearer_id == wearer_id).order_by(RackPlanRow.id.desc()).limit(1)
    row = session.execute(query).mappings().one_or_none()
    return None if row is None or row["state"] == "made" else dict(row)


def plans_asked(session: Session) -> list[dict[str, Any]]:
    """Return the plans that wait for the planner, the oldest first."""
    query = _plans().where(RackPlanRow.state == "asked").order_by(RackPlanRow.id)
    return [dict(row) for row in session.execute(query).mappings()]


def answer_plan(session: Session, pk: int, values: Mapping[str, Any]) -> None:
    """Write the answer of a plan that was asked for: fields of the row."""
    session.execute(sa.update(RackPlanRow).where(RackPlanRow.id == pk).values(**values))


def _plans() -> sa.Select[Any]:
    return sa.select(
        RackPlanRow.id.label("pk"),
        RackPlanRow.plan_id,
        Wearer.wearer_id,
        RackPlanRow.made_at,
        RackPlanRow.starts_on,
        RackPlanRow.weeks,
        RackPlanRow.question,
        RackPlanRow.answer,
        RackPlanRow.state,
    ).join(Wearer, RackPlanRow.wearer_pk == Wearer.id)


def traits_of(session: Session, wearer_id: str) -> dict[str, dict[str, Any]]:
    """Return upper, months, weight, route_id of each pair that has them, by pair."""
    query = (
        sa.select(
            Pair.pair_id,
            PairTraits.upper,
            PairTraits.months,
            PairTraits.weight,
            PairTraits.route_id,
        )
        .join(Pair, PairTraits.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id == wearer_id)
    )
    return {row["pair_id"]: dict(row) for row in session.execute(query).mappings()}


def keep_traits(session: Session, pair_id: str, values: Mapping[str, Any]) -> None:
    """Put the traits of a pair in the place of the old ones."""
    hold_key(session, "traits", pair_id)
    pair_pk = session.execute(sa.select(Pair.id).where(Pair.pair_id == pair_id)).scalar_one()
    row = session.scalar(sa.select(PairTraits).where(PairTraits.pair_pk == pair_pk))
    if row is None:
        session.add(PairTraits(pair_pk=pair_pk, **values))
        return
    for name, value in values.items():
        setattr(row, name, value)


def routes_of(session: Session, wearer_id: str) -> dict[str, dict[str, Any]]:
    """Return the fields of the routes that a wearer edited, by route."""
    query = (
        sa.select(RouteRow.route_id, RouteRow.fields)
        .join(Wearer, RouteRow.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id == wearer_id)
        .order_by(RouteRow.route_id)
    )
    return {row[0]: dict(row[1]) for row in session.execute(query)}


def keep_route(session: Session, wearer_pk: int, route_id: str, fields: dict[str, Any]) -> None:
    """Put a wearer's route in the place of the old one."""
    hold_key(session, "route", wearer_pk, route_id)
    same = (RouteRow.wearer_pk == wearer_pk, RouteRow.route_id == route_id)
    row = session.scalar(sa.select(RouteRow).where(*same))
    if row is None:
        session.add(RouteRow(wearer_pk=wearer_pk, route_id=route_id, fields=fields))
    else:
        row.fields = fields


def forget_route(session: Session, wearer_pk: int, route_id: str) -> bool:
    """Take a wearer's route away; return whether it was there."""
    same = (RouteRow.wearer_pk == wearer_pk, RouteRow.route_id == route_id)
    row = session.scalar(sa.select(RouteRow).where(*same))
    if row is None:
        return False
    session.delete(row)
    return True


def care_rules_of(session: Session, wearer_id: str) -> dict[tuple[str, str], dict[str, Any]]:
    """Return the fields of the care rules that a wearer edited, by upper and care."""
    query = (
        sa.select(CareRuleRow.upper, CareRuleRow.care, CareRuleRow.fields)
        .join(Wearer, CareRuleRow.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id == wearer_id)
    )
    return {(row[0], row[1]): dict(row[2]) for row in session.execute(query)}


def keep_rule(
    session: Session, wearer_pk: int, upper: str, care: str, fields: dict[str, Any]
) -> None:
    """Put a wearer's care rule in the place of the old one."""
    hold_key(session, "care rule", wearer_pk, upper, care)
    same = (
        CareRuleRow.wearer_pk == wearer_pk,
        CareRuleRow.upper == upper,
        CareRuleRow.care == care,
    )
    row = session.scalar(sa.select(CareRuleRow).where(*same))
    if row is None:
        session.add(CareRuleRow(wearer_pk=wearer_pk, upper=upper, care=care, fields=fields))
    else:
        row.fields = fields


def care_done(session: Session, wearer_id: str) -> list[tuple[str, str, date]]:
    """Return (pair_id, care, done_on) of everything done on a wearer's pairs."""
    query = (
        sa.select(Pair.pair_id, CareDone.care, CareDone.done_on)
        .join(Pair, CareDone.pair_pk == Pair.id)
        .join(Wearer, Pair.wearer_pk == Wearer.id)
        .where(Wearer.wearer_id == wearer_id)
        .order_by(CareDone.done_on, Pair.pair_id)
    )
    return [(row[0], row[1], row[2]) for row in session.execute(query)]


def keep_care(
    session: Session, pair_id: str, care: str, done_on: date, *, start: bool = False
) -> bool:
    """Keep that a care was done, or that its counting starts; return whether that was new."""
    hold_key(session, "care", pair_id, care, done_on)
    pair_pk = session.execute(sa.select(Pair.id).where(Pair.pair_id == pair_id)).scalar_one()
    same = (CareDone.pair_pk == pair_pk, CareDone.care == care, CareDone.done_on == done_on)
    if session.scalar(sa.select(CareDone.id).where(*same)) is not None:
        return False
    session.add(CareDone(pair_pk=pair_pk, care=care, done_on=done_on, start=start))
    session.flush()
    return True


def keep_feed(session: Session, wearer_pk: int, secret_hash: str, made_at: datetime) -> None:
    """Put a new secret in the place of a wearer's old one, which ends."""
    hold_key(session, "feed", wearer_pk)
    session.execute(sa.delete(CalendarFeed).where(CalendarFeed.wearer_pk == wearer_pk))
    session.add(CalendarFeed(wearer_pk=wearer_pk, secret_hash=secret_hash, made_at=made_at))
    session.flush()


def forget_feed(session: Session, wearer_pk: int) -> bool:
    """End a wearer's secret; return whether there was one."""
    gone = sa.delete(CalendarFeed).where(CalendarFeed.wearer_pk == wearer_pk)
    return bool(session.execute(gone.returning(CalendarFeed.id)).all())


def feed_made_at(session: Session, wearer_pk: int) -> datetime | None:
    """Return when a wearer's secret was made, None without one."""
    query = sa.select(CalendarFeed.made_at).where(CalendarFeed.wearer_pk == wearer_pk)
    return session.scalar(query)


def wearer_of_secret(session: Session, secret_hash: str) -> str | None:
    """Return whose calendar a secret opens, or None."""
    query = (
        sa.select(Wearer.wearer_id)
        .join(CalendarFeed, CalendarFeed.wearer_pk == Wearer.id)
        .where(CalendarFeed.secret_hash == secret_hash)
    )
    return session.scalar(query)
