"""Tables of rack: what does the database hold, and which rows can it never hold?

The six tables of what was logged take names, words and bounds from `forecast.frames`. Each has a
number `id` that only the database knows and a text id (or another natural key) that people know.
A foreign key points at the number and is named `..._pk`. Fits, forecasts, imports and idempotency
keys are in `api.storage.tables.results`.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Date,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import (
    DeclarativeBase,
    Mapped,
    MappedColumn,
    declared_attr,
    mapped_column,
    relationship,
)

from solespan.api.storage.scope import TenantTable, current_tenant
from solespan.api.storage.tables.keys import row_of, tenant_keys
from solespan.api.storage.tables.types import BigId, UtcDateTime
from solespan.forecast.columns import Column
from solespan.forecast.covariates import LOGGED as LOGGED_OF_A_DAY
from solespan.forecast.frames import TABLES
from solespan.forecast.values import ID_LENGTH, TEXT_LENGTH

__all__ = [
    "LOGGED",
    "Base",
    "BenchJob",
    "Check",
    "Pair",
    "Root",
    "Sole",
    "WearDay",
    "Wearer",
    "word_and_bound_checks",
]

WORD_LENGTH = 40


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Root(DeclarativeBase):
    """The root of all tables; constraints are named so that migrations can change them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )

    @classmethod
    def __table_cls__(cls, name: str, *parts: Any, **options: Any) -> Table:
        """Make a table; what points at a row of a tenant is bound to that tenant."""
        return cls._table_class(name, *parts, *tenant_keys(name, parts), **options)

    _table_class: ClassVar[type[Table]] = Table


class Base(Root):
    """The root of all tables whose rows belong to a tenant; see `api.storage.scope`."""

    __abstract__ = True

    @declared_attr
    @classmethod
    def tenant_pk(cls) -> Mapped[int]:
        """Whose row it is: filled and compared by `api.storage.scope`, never by hand."""
        return mapped_column(
            ForeignKey("tenants.id", ondelete="CASCADE"),
            default=current_tenant,
            sort_order=1000,
        )

    _table_class: ClassVar[type[Table]] = TenantTable  # read one tenant at a time


class Editable:
    """A row that people edit: `version` rises with every update and catches lost ones."""

    version: Mapped[int] = mapped_column(Integer, default=1, server_default=text("1"))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now)
    updated_at: Mapped[datetime] = mapped_column(UtcDateTime, default=_utc_now, onupdate=_utc_now)

    @declared_attr.directive
    @classmethod
    def __mapper_args__(cls) -> dict[str, Any]:
        """Let the mapper compare and raise `version` on each update."""
        return {"version_id_col": cls.version}


def word_and_bound_checks(table_name: str) -> list[CheckConstraint]:
    """Turn the words and bounds of `forecast.frames` into constraints of one table."""
    checks = []
    for column in TABLES[table_name].stored:
        if column.words:
            words = ", ".join(f"'{word}'" for word in column.words)
            checks.append(CheckConstraint(f"{column.name} IN ({words})", name=column.name))
        elif column.low is not None or column.high is not None:
            bounds = []
            if column.low is not None:
                bounds.append(f"{column.name} >= {column.low:g}")
            if column.high is not None:
                bounds.append(f"{column.name} <= {column.high:g}")
            checks.append(CheckConstraint(" AND ".join(bounds), name=column.name))
    return checks


def column_of(column: Column) -> MappedColumn[Any]:
    """Make the database's column of one column of `forecast.frames`."""
    types: dict[str, Any] = {
        "text": String(TEXT_LENGTH),
        "word": String(WORD_LENGTH),
        "date": Date(),
        "number": Double(),
        "integer": Integer(),
        "flag": Boolean(),
    }
    if column.default is None:
        return mapped_column(types[column.kind], nullable=not column.required)
    plain = str(column.default).lower() if column.kind == "flag" else f"'{column.default}'"
    return mapped_column(
        types[column.kind], nullable=False, default=column.default, server_default=text(plain)
    )


class Wearer(Editable, Base):
    """A person who wears shoes. `data_version` rises when any row of theirs changes."""

    __tablename__ = "wearers"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    wearer_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    name: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    time_zone: Mapped[str] = mapped_column(
        String(WORD_LENGTH), default="UTC", server_default=text("'UTC'")
    )
    driving_foot: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    email: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    phone: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    language: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    wears_per_week: Mapped[float | None]
    notes: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    dress_week: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    data_version: Mapped[int] = mapped_column(Integer, default=0, server_default=text("0"))

    pairs: Mapped[list[Pair]] = relationship(
        back_populates="wearer", passive_deletes=True, foreign_keys="Pair.wearer_pk"
    )

    __table_args__ = (
        *word_and_bound_checks("wearers"),
        # Ids are people's own: two tenants may use the same one.
        UniqueConstraint("tenant_pk", "wearer_id"),
        # What belongs to it points at number and tenant together.
        UniqueConstraint("id", "tenant_pk"),
    )


class Pair(Editable, Base):
    """Two shoes, kept and repaired together."""

    __tablename__ = "pairs"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    wearer_pk: Mapped[int] = row_of("wearers")
    label: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    construction: Mapped[str] = mapped_column(String(WORD_LENGTH))
    dress_code: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    size_eu: Mapped[float | None]
    acquired_on: Mapped[date | None]
    price_minor: Mapped[int | None] = mapped_column(BigId)
    currency: Mapped[str | None] = mapped_column(String(3))
    earlier_resoles: Mapped[int | None]
    wears_per_week: Mapped[float | None]
    in_use_on: Mapped[date | None]
    notes: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    maker: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    last: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    colour: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    form: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    tags: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))
    size_uk: Mapped[float | None]
    size_us: Mapped[float | None]
    kind: Mapped[str | None] = mapped_column(String(WORD_LENGTH))

    wearer: Mapped[Wearer] = relationship(back_populates="pairs", foreign_keys=wearer_pk)
    soles: Mapped[list[Sole]] = relationship(
        back_populates="pair",
        passive_deletes=True,
        order_by="Sole.fitted_on",
        foreign_keys="Sole.pair_pk",
    )

    __table_args__ = (
        *word_and_bound_checks("pairs"),
        UniqueConstraint("tenant_pk", "pair_id"),
        UniqueConstraint("id", "tenant_pk"),
        # A wearer's rack is read on every visit, and a wearer's deletion looks for pairs.
        Index(None, "wearer_pk", "tenant_pk"),
    )


class Sole(Editable, Base):
    """One set of outsoles on a pair, from the day it is fitted to the day it is taken off."""

    __tablename__ = "soles"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    sole_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    pair_pk: Mapped[int] = row_of("pairs")
    fitted_on: Mapped[date]
    material: Mapped[str] = mapped_column(String(WORD_LENGTH))
    nominal_thickness_mm: Mapped[float]
    limit_mm: Mapped[float | None]
    cover: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    channel: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    assumed: Mapped[bool] = mapped_column(default=False, server_default=text("false"))
    removed_on: Mapped[date | None]
    continues: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    pair: Mapped[Pair] = relationship(back_populates="soles", foreign_keys=pair_pk)

    __table_args__ = (
        *word_and_bound_checks("soles"),
        UniqueConstraint("tenant_pk", "sole_id"),
        UniqueConstraint("id", "tenant_pk"),
        CheckConstraint("removed_on >= fitted_on", name="removed_after_fitted"),
        CheckConstraint("limit_mm < nominal_thickness_mm", name="limit_under_nominal"),
        # The sole on a pair now is the last one fitted: read with every pair.
        Index(None, "pair_pk", "tenant_pk", "fitted_on"),
    )


class WearDay(Editable, Base):
    """A day on which a pair was worn."""

    __tablename__ = "wear_days"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs")
    worn_on: Mapped[date]
    hours: Mapped[float | None]

    __table_args__ = (
        *word_and_bound_checks("wear_days"),
        # The natural key; its index also finds a pair's days in order, so no other is needed.
        UniqueConstraint("pair_pk", "worn_on"),
    )


for _one in LOGGED_OF_A_DAY:
    setattr(WearDay, _one.column.name, column_of(_one.column))


class Check(Editable, Base):
    """One look at one point of one foot: a thickness or a thumb grade, never both."""

    __tablename__ = "checks"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    pair_pk: Mapped[int] = row_of("pairs")
    checked_on: Mapped[date]
    foot: Mapped[str] = mapped_column(String(WORD_LENGTH))
    point: Mapped[str] = mapped_column(String(WORD_LENGTH))
    method: Mapped[str] = mapped_column(String(WORD_LENGTH))
    value_mm: Mapped[float | None]
    grade: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    lug_mm: Mapped[float | None]

    __table_args__ = (
        *word_and_bound_checks("checks"),
        CheckConstraint("lug_mm <= value_mm", name="lug_within"),
        CheckConstraint("(value_mm IS NULL) <> (grade IS NULL)", name="one_result"),
        # The natural key; its index also finds a pair's checks in order.
        UniqueConstraint("pair_pk", "checked_on", "foot", "point", "method"),
    )


class BenchJob(Editable, Base):
    """One piece of repair work on a pair in a shop, from received to returned."""

    __tablename__ = "bench_jobs"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    job_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    pair_pk: Mapped[int] = row_of("pairs")
    work: Mapped[str] = mapped_column(String(WORD_LENGTH))
    received_on: Mapped[date]
    promised_on: Mapped[date | None]
    finished_on: Mapped[date | None]
    returned_on: Mapped[date | None]
    bench_minutes: Mapped[float | None]
    price_minor: Mapped[int | None] = mapped_column(BigId)
    currency: Mapped[str | None] = mapped_column(String(3))
    advised: Mapped[bool] = mapped_column(default=False, server_default=text("false"))
    more_works: Mapped[str | None] = mapped_column(String(TEXT_LENGTH))

    __table_args__ = (
        *word_and_bound_checks("bench_jobs"),
        UniqueConstraint("tenant_pk", "job_id"),
        CheckConstraint("finished_on >= received_on", name="finished_after_received"),
        CheckConstraint("returned_on >= received_on", name="returned_after_received"),
        # A pair is away while a job is open: read with every pair.
        Index(None, "pair_pk", "tenant_pk", "received_on"),
    )


class Layer(Editable, Base):
    """One layer of a pair's bottom beside its sole, from the day it is fitted to its removal."""

    __tablename__ = "layers"

    id: Mapped[int] = mapped_column(BigId, primary_key=True)
    layer_id: Mapped[str] = mapped_column(String(ID_LENGTH))
    pair_pk: Mapped[int] = row_of("pairs")
    foot: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    layer: Mapped[str] = mapped_column(String(WORD_LENGTH))
    material: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    nominal_thickness_mm: Mapped[float | None]
    thickness_mm: Mapped[float | None]
    limit_mm: Mapped[float | None]
    seam: Mapped[str | None] = mapped_column(String(WORD_LENGTH))
    earlier_seams: Mapped[int | None]
    fitted_on: Mapped[date | None]
    removed_on: Mapped[date | None]

    __table_args__ = (
        *word_and_bound_checks("layers"),
        UniqueConstraint("tenant_pk", "layer_id"),
        CheckConstraint("removed_on >= fitted_on", name="removed_after_fitted"),
        # A pair's layers are read with its forecast.
        Index(None, "pair_pk", "tenant_pk"),
    )


LOGGED: dict[str, type[Wearer | Pair | Sole | WearDay | Check | BenchJob | Layer]] = {
    "wearers": Wearer,
    "pairs": Pair,
    "soles": Sole,
    "wear_days": WearDay,
    "checks": Check,
    "bench_jobs": BenchJob,
    "layers": Layer,
}
