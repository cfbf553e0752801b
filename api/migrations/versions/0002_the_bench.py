"""What does this step change? It adds the bench: orders, papers, photographs, stock, plans.

Back: `downgrade` drops these tables; jobs in `bench_jobs`, soles and checks stay.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _bench_plans()
    _shop_settings()
    _stock_items()
    _bench_orders()
    _due_outcomes()
    _bench_events()
    _bench_papers()
    _bench_photos()
    _stock_moves()


def downgrade() -> None:
    for name in (
        "stock_moves",
        "bench_photos",
        "bench_papers",
        "bench_events",
        "due_outcomes",
        "bench_orders",
        "stock_items",
        "shop_settings",
        "bench_plans",
    ):
        op.drop_table(name)


def _bench_plans() -> None:
    op.create_table(
        "bench_plans",
        sa.Column("id", BIG, nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_plans")),
    )


def _shop_settings() -> None:
    op.create_table(
        "shop_settings",
        sa.Column("id", BIG, nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_settings")),
        sa.UniqueConstraint("name", name=op.f("uq_shop_settings_name")),
    )


def _stock_items() -> None:
    op.create_table(
        "stock_items",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_id", sa.String(length=200), nullable=False),
        sa.Column("use", sa.String(length=40), nullable=False),
        sa.Column("material", sa.String(length=40), nullable=True),
        sa.Column("thickness_mm", sa.Double(), nullable=True),
        sa.Column("size_eu_from", sa.Double(), nullable=True),
        sa.Column("size_eu_to", sa.Double(), nullable=True),
        sa.Column("quantity", sa.Double(), server_default=sa.text("0"), nullable=False),
        sa.Column("supply_days", sa.Double(), nullable=False),
        sa.Column("supply_days_sd", sa.Double(), nullable=False),
        sa.Column("minimum_order", sa.Double(), nullable=False),
        sa.Column("service_level", sa.Double(), nullable=False),
        sa.Column("review_days", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("minimum_order >= 0", name=op.f("ck_stock_items_minimum_order")),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_stock_items_quantity")),
        sa.CheckConstraint("review_days >= 1", name=op.f("ck_stock_items_review_days")),
        sa.CheckConstraint(
            "service_level > 0 AND service_level < 1", name=op.f("ck_stock_items_service_level")
        ),
        sa.CheckConstraint(
            "supply_days >= 0 AND supply_days_sd >= 0", name=op.f("ck_stock_items_supply_days")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_items")),
        sa.UniqueConstraint("item_id", name=op.f("uq_stock_items_item_id")),
    )


def _bench_orders() -> None:
    op.create_table(
        "bench_orders",
        sa.Column("id", BIG, nullable=False),
        sa.Column("order_id", sa.String(length=200), nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("work", sa.String(length=40), nullable=False),
        sa.Column("stage", sa.String(length=40), nullable=False),
        sa.Column("booked_on", sa.Date(), nullable=False),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("by_post", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.Column("parcel_in", sa.String(length=200), nullable=True),
        sa.Column("parcel_out", sa.String(length=200), nullable=True),
        sa.Column("worker", sa.String(length=200), nullable=True),
        sa.Column("bench_minutes", sa.Double(), nullable=True),
        sa.Column("price_minor", BIG, nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "stage IN ('booked', 'in_post', 'received', 'on_bench', 'checked', 'posted_back', "
            "'returned', 'cancelled', 'missed')",
            name=op.f("ck_bench_orders_stage"),
        ),
        sa.CheckConstraint(
            "work IN ('full_sole', 'half_sole', 'top_piece', 'toe_plate', 'rewelt', 'heel_block')",
            name=op.f("ck_bench_orders_work"),
        ),
        sa.CheckConstraint(
            "bench_minutes >= 0 AND bench_minutes <= 100000",
            name=op.f("ck_bench_orders_bench_minutes"),
        ),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_bench_orders_price_minor")),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_bench_orders_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_orders")),
        sa.UniqueConstraint("order_id", name=op.f("uq_bench_orders_order_id")),
    )
    op.create_index(op.f("ix_bench_orders_pair_pk"), "bench_orders", ["pair_pk"], unique=False)
    op.create_index(
        op.f("ix_bench_orders_stage_expected_on"),
        "bench_orders",
        ["stage", "expected_on"],
        unique=False,
    )


def _due_outcomes() -> None:
    op.create_table(
        "due_outcomes",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(length=40), nullable=False),
        sa.Column("came_on", sa.Date(), nullable=True),
        sa.CheckConstraint(
            "(came_on IS NOT NULL) = (outcome = 'came')", name=op.f("ck_due_outcomes_came_with_day")
        ),
        sa.CheckConstraint(
            "outcome IN ('came', 'declined', 'no_show', 'open')",
            name=op.f("ck_due_outcomes_outcome"),
        ),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_due_outcomes_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due_outcomes")),
        sa.UniqueConstraint("pair_pk", "due_on", name=op.f("uq_due_outcomes_pair_pk_due_on")),
    )


def _bench_events() -> None:
    op.create_table(
        "bench_events",
        sa.Column("id", BIG, nullable=False),
        sa.Column("order_pk", BIG, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("from_stage", sa.String(length=40), nullable=True),
        sa.Column("to_stage", sa.String(length=40), nullable=False),
        sa.Column("worker", sa.String(length=200), nullable=True),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_pk"],
            ["bench_orders.id"],
            name=op.f("fk_bench_events_order_pk"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_events")),
    )
    op.create_index(
        op.f("ix_bench_events_order_pk_id"), "bench_events", ["order_pk", "id"], unique=False
    )


def _bench_papers() -> None:
    op.create_table(
        "bench_papers",
        sa.Column("id", BIG, nullable=False),
        sa.Column("order_pk", BIG, nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('condition', 'before', 'after')", name=op.f("ck_bench_papers_kind")
        ),
        sa.ForeignKeyConstraint(
            ["order_pk"],
            ["bench_orders.id"],
            name=op.f("fk_bench_papers_order_pk"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_papers")),
        sa.UniqueConstraint("order_pk", "kind", name=op.f("uq_bench_papers_order_pk_kind")),
    )


def _bench_photos() -> None:
    op.create_table(
        "bench_photos",
        sa.Column("id", BIG, nullable=False),
        sa.Column("photo_id", sa.String(length=200), nullable=False),
        sa.Column("order_pk", BIG, nullable=False),
        sa.Column("taken_in", sa.DateTime(timezone=True), nullable=False),
        sa.Column("media_type", sa.String(length=40), nullable=False),
        sa.Column("caption", sa.String(length=2000), nullable=True),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png')", name=op.f("ck_bench_photos_media_type")
        ),
        sa.ForeignKeyConstraint(
            ["order_pk"],
            ["bench_orders.id"],
            name=op.f("fk_bench_photos_order_pk"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_photos")),
        sa.UniqueConstraint("photo_id", name=op.f("uq_bench_photos_photo_id")),
    )
    op.create_index(op.f("ix_bench_photos_order_pk"), "bench_photos", ["order_pk"], unique=False)


def _stock_moves() -> None:
    op.create_table(
        "stock_moves",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_pk", BIG, nullable=False),
        sa.Column("order_pk", BIG, nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(length=40), nullable=False),
        sa.Column("change", sa.Double(), nullable=False),
        sa.Column("quantity_after", sa.Double(), nullable=False),
        sa.Column("note", sa.String(length=2000), nullable=True),
        sa.CheckConstraint(
            "reason IN ('receipt', 'use', 'count')", name=op.f("ck_stock_moves_reason")
        ),
        sa.CheckConstraint("quantity_after >= 0", name=op.f("ck_stock_moves_quantity_after")),
        sa.ForeignKeyConstraint(
            ["item_pk"], ["stock_items.id"], name=op.f("fk_stock_moves_item_pk"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["order_pk"],
            ["bench_orders.id"],
            name=op.f("fk_stock_moves_order_pk"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_moves")),
    )
    op.create_index(
        op.f("ix_stock_moves_item_pk_id"), "stock_moves", ["item_pk", "id"], unique=False
    )
    op.create_index(op.f("ix_stock_moves_order_pk"), "stock_moves", ["order_pk"], unique=False)
