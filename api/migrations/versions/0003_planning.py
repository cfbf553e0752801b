"""What does this step change? It adds planning: plans, traits, routes, care, calendar addresses.

Back: `downgrade` drops these tables; what was logged stays.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _calendar_feeds()
    _care_rules()
    _rack_plans()
    _resole_routes()
    _care_done()
    _pair_traits()


def downgrade() -> None:
    for name in (
        "pair_traits",
        "care_done",
        "resole_routes",
        "rack_plans",
        "care_rules",
        "calendar_feeds",
    ):
        op.drop_table(name)


def _calendar_feeds() -> None:
    op.create_table(
        "calendar_feeds",
        sa.Column("id", BIG, nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["wearer_pk"],
            ["wearers.id"],
            name=op.f("fk_calendar_feeds_wearer_pk"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_feeds")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_calendar_feeds_secret_hash")),
        sa.UniqueConstraint("wearer_pk", name=op.f("uq_calendar_feeds_wearer_pk")),
    )


def _care_rules() -> None:
    op.create_table(
        "care_rules",
        sa.Column("id", BIG, nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("upper", sa.String(length=40), nullable=False),
        sa.Column("care", sa.String(length=40), nullable=False),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "care IN ('trees', 'rest', 'dry_slowly', 'brush', 'condition', 'waterproof', "
            "'look_at_top_piece', 'look_at_toe')",
            name=op.f("ck_care_rules_care"),
        ),
        sa.CheckConstraint(
            "upper IN ('smooth_calf', 'suede', 'shell', 'other')", name=op.f("ck_care_rules_upper")
        ),
        sa.ForeignKeyConstraint(
            ["wearer_pk"], ["wearers.id"], name=op.f("fk_care_rules_wearer_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_care_rules")),
        sa.UniqueConstraint(
            "wearer_pk", "upper", "care", name=op.f("uq_care_rules_wearer_pk_upper_care")
        ),
    )


def _rack_plans() -> None:
    op.create_table(
        "rack_plans",
        sa.Column("id", BIG, nullable=False),
        sa.Column("plan_id", sa.String(length=200), nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=False),
        sa.Column("weeks", sa.Integer(), nullable=False),
        sa.Column("question", sa.JSON(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.CheckConstraint("weeks >= 1 AND weeks <= 60", name=op.f("ck_rack_plans_weeks")),
        sa.ForeignKeyConstraint(
            ["wearer_pk"], ["wearers.id"], name=op.f("fk_rack_plans_wearer_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rack_plans")),
        sa.UniqueConstraint("plan_id", name=op.f("uq_rack_plans_plan_id")),
    )
    op.create_index(
        op.f("ix_rack_plans_wearer_pk_id"), "rack_plans", ["wearer_pk", "id"], unique=False
    )


def _resole_routes() -> None:
    op.create_table(
        "resole_routes",
        sa.Column("id", BIG, nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("route_id", sa.String(length=200), nullable=False),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["wearer_pk"],
            ["wearers.id"],
            name=op.f("fk_resole_routes_wearer_pk"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_resole_routes")),
        sa.UniqueConstraint(
            "wearer_pk", "route_id", name=op.f("uq_resole_routes_wearer_pk_route_id")
        ),
    )


def _care_done() -> None:
    op.create_table(
        "care_done",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("care", sa.String(length=40), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.CheckConstraint(
            "care IN ('trees', 'rest', 'dry_slowly', 'brush', 'condition', 'waterproof', "
            "'look_at_top_piece', 'look_at_toe')",
            name=op.f("ck_care_done_care"),
        ),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_care_done_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_care_done")),
        sa.UniqueConstraint(
            "pair_pk", "care", "done_on", name=op.f("uq_care_done_pair_pk_care_done_on")
        ),
    )


def _pair_traits() -> None:
    op.create_table(
        "pair_traits",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("upper", sa.String(length=40), nullable=False),
        sa.Column("months", sa.JSON(), nullable=False),
        sa.Column("weight", sa.Double(), nullable=False),
        sa.Column("route_id", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "upper IN ('smooth_calf', 'suede', 'shell', 'other')", name=op.f("ck_pair_traits_upper")
        ),
        sa.CheckConstraint("weight >= 0 AND weight <= 10", name=op.f("ck_pair_traits_weight")),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_pair_traits_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pair_traits")),
        sa.UniqueConstraint("pair_pk", name=op.f("uq_pair_traits_pair_pk")),
    )
