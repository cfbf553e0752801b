"""Tables of fits, forecasts and imports.

What does the program keep of its own doings: imports, fits, forecasts, answered requests?
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
)
from sqlalchemy.orm import Mapped, mapped_column

from solespan.api.storage.tables.keys import row_of
from solespan.api.storage.tables.rack import WORD_LENGTH, Base, _utc_now
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.frames import BANDS, CHANCE_DAYS, FEET, WEARING_POINTS
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = ["Fit", "ForecastRow", "IdempotencyKey", "ImportMapping", "ImportRun", "Lease"]


def _public_id() -> str:
    return uuid4().hex


def _in(column: str, words: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


class ImportRun(Base):
    """One import that was taken: when, from where, how many rows, and its report."""

    __tablename__ = "imports"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    import_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    imported_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    source: Mapped[str] = mapped_column(String(TEXT_LENGTH))
    counts: Mapped[dict[str, Any]] = mapped_column(JSON)
    report: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        # Listed newest first.
        UniqueConstraint("tenant_pk", "id"),
    )


class ImportMapping(Base):
    """The choices by which sheets with certain headers were read, kept for the next time."""

    __tablename__ = "import_mappings"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    fingerprint: Mapped[str] = mapped_column(String(ID_LENGTH))
    answers: Mapped[dict[str, str]] = mapped_column(JSON)
    used_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)

    __table_args__ = (UniqueConstraint("tenant_pk", "fingerprint"),)


class Fit(Base):
    """One fit of the wear model; `data_version` is the highest of all wearers when it was made."""

    __tablename__ = "fits"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    fit_id: Mapped[str] = mapped_column(String(ID_LENGTH), unique=True, default=_public_id)
    fitted_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    as_of: Mapped[date]
    model_version: Mapped[str] = mapped_column(String(WORD_LENGTH))
    data_version: Mapped[int] = mapped_column(Integer)
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)

    __table_args__ = (
        # The newest one is asked for all the time.
        UniqueConstraint("tenant_pk", "id"),
    )


class ForecastRow(Base):
    """One row of the forecast file; a wearer's rows are replaced together.

    `data_version` is the wearer's when the forecast was made: another number there now means that
    the forecast is stale.
    """

    __tablename__ = "forecasts"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs")
    sole_pk: Mapped[int | None] = row_of("soles")
    fit_pk: Mapped[int | None] = row_of("fits", emptied=True)
    data_version: Mapped[int] = mapped_column(Integer)
    as_of: Mapped[date]
    foot: Mapped[str] = mapped_column(String(WORD_LENGTH))
    point: Mapped[str] = mapped_column(String(WORD_LENGTH))
    thickness_mm_p50: Mapped[float | None]
    rate_mm_per_wear_day_p50: Mapped[float | None]
    due_p05: Mapped[date | None]
    due_p10: Mapped[date | None]
    due_p25: Mapped[date | None]
    due_p50: Mapped[date | None]
    due_p75: Mapped[date | None]
    due_p90: Mapped[date | None]
    due_p95: Mapped[date | None]
    chance_now: Mapped[float | None]
    chance_30d: Mapped[float | None]
    chance_90d: Mapped[float | None]
    chance_180d: Mapped[float | None]
    chance_365d: Mapped[float | None]
    wears_left_p10: Mapped[float | None]
    wears_left_p50: Mapped[float | None]
    wears_left_p90: Mapped[float | None]
    send_by: Mapped[date | None]
    book_by: Mapped[date | None]
    band: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    first_foot: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    chance_in_use: Mapped[float | None]
    reason: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        _in("foot", (*FEET, "pair")),
        _in("point", WEARING_POINTS),
        _in("band", BANDS),
        _in("first_foot", FEET),
        *(CheckConstraint(f"{name} >= 0 AND {name} <= 1", name=name) for name in CHANCE_DAYS),
        # The natural key; its index also finds a pair's forecast.
        UniqueConstraint("pair_pk", "tenant_pk", "foot", "point"),
        # Deleting a sole or a fit looks for the forecasts that point at it.
        Index(None, "sole_pk", "tenant_pk"),
        Index(None, "fit_pk", "tenant_pk"),
        # The due list reads all rows, or those of one point, in the order of their send-by date.
        Index(None, "tenant_pk", "send_by"),
        Index(None, "tenant_pk", "foot", "point", "send_by"),
    )


class IdempotencyKey(Base):
    """A create that was answered: the same key again gets the same answer, for 24 hours.

    Written in the transaction that writes the row it created, so neither exists without the other.
    """

    __tablename__ = "idempotency_keys"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    route: Mapped[str] = mapped_column(String(ID_LENGTH))
    key: Mapped[str] = mapped_column(String(ID_LENGTH))
    fingerprint: Mapped[str] = mapped_column(String(ID_LENGTH))
    status_code: Mapped[int]
    body: Mapped[Any] = mapped_column(JSON)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)

    __table_args__ = (
        UniqueConstraint("tenant_pk", "route", "key"),
        # Old keys are swept by age.
        Index(None, "tenant_pk", "created_at"),
    )


class Lease(Base):
    """A kind of work that one process at a time does for a tenant; see `api.storage.leases`."""

    __tablename__ = "leases"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    name: Mapped[str] = mapped_column(String(WORD_LENGTH))
    owner: Mapped[str] = mapped_column(String(32))
    until: Mapped[datetime] = mapped_column(UtcDateTime)

    __table_args__ = (UniqueConstraint("tenant_pk", "name"),)
