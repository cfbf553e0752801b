"""Tables of planning.

What does the database hold of planning: plans, traits, routes, care, calendar addresses?

What the owner may edit of routes and care rules is kept as the fields of `forecast.planning`'s own
types. A row that is missing means the default.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Index,
    Integer,
    String,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, Editable, _utc_now
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.planning.care import CARES, UPPERS
from solespan.forecast.values import ID_LENGTH

__all__ = ["CalendarFeed", "CareDone", "CareRuleRow", "PairTraits", "RackPlanRow", "RouteRow"]

HASH_LENGTH = 64
PLAN_STATES = ("asked", "made", "refused")


def _public_id() -> str:
    return uuid4().hex


def _in(column: str, words: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


class RackPlanRow(Base):
    """One plan of one rack: what was asked, with the state of the pairs then, and the answer.

    One that is `asked` has the wishes as they were sent, and waits for the planner. One that is
    `refused` has the reason as its answer.
    """

    __tablename__ = "rack_plans"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    plan_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    wearer_pk: Mapped[int] = row_of("wearers")
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    starts_on: Mapped[date]
    weeks: Mapped[int] = mapped_column(Integer)
    question: Mapped[dict[str, Any]] = mapped_column(JSON)
    answer: Mapped[dict[str, Any]] = mapped_column(JSON)
    state: Mapped[str] = mapped_column(String(WORD_LENGTH), default="made")

    __table_args__ = (
        _in("state", PLAN_STATES),
        CheckConstraint("weeks >= 1 AND weeks <= 60", name="weeks"),
        # The newest plan of a wearer is what pages and the calendar show.
        Index(None, "wearer_pk", "id"),
    )


class PairTraits(Editable, Base):
    """What planning knows of a pair beyond the log: upper, months, preference, route."""

    __tablename__ = "pair_traits"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs", unique=True)
    upper: Mapped[str] = mapped_column(String(WORD_LENGTH))
    months: Mapped[list[int]] = mapped_column(JSON)
    weight: Mapped[float]
    route_id: Mapped[str | None] = mapped_column(String(ID_LENGTH))

    __table_args__ = (
        _in("upper", UPPERS),
        CheckConstraint("weight >= 0 AND weight <= 10", name="weight"),
    )


class RouteRow(Editable, Base):
    """One way to a new sole as a wearer edited it.

    Fields of `forecast.planning.resole_options.Route`.
    """

    __tablename__ = "resole_routes"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers")
    route_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    fields: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (UniqueConstraint("wearer_pk", "route_id"),)


class CareRuleRow(Editable, Base):
    """One care rule as a wearer edited it; fields of `forecast.planning.care.CareRule`."""

    __tablename__ = "care_rules"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers")
    upper: Mapped[str] = mapped_column(String(WORD_LENGTH))
    care: Mapped[str] = mapped_column(String(WORD_LENGTH))
    fields: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        _in("upper", UPPERS),
        _in("care", CARES),
        UniqueConstraint("wearer_pk", "upper", "care"),
    )


class CareDone(Base):
    """One care that was done on a pair on a day."""

    __tablename__ = "care_done"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs")
    care: Mapped[str] = mapped_column(String(WORD_LENGTH))
    done_on: Mapped[date]
    # Counting starts on this day, though nobody said that the care was done.
    start: Mapped[bool] = mapped_column(default=False, server_default=text("false"))

    __table_args__ = (_in("care", CARES), UniqueConstraint("pair_pk", "care", "done_on"))


class CalendarFeed(Base):
    """The secret address of a wearer's calendar; only its hash is kept."""

    __tablename__ = "calendar_feeds"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_pk: Mapped[int] = row_of("wearers", unique=True)
    secret_hash: Mapped[str] = mapped_column(String(HASH_LENGTH), unique=True)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
