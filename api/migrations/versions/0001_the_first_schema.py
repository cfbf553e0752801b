"""What does this step change? It makes the first schema: what is logged, and what is computed.

Back: `downgrade` drops every table, so all data are lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _fits()
    _idempotency_keys()
    _imports()
    _wearers()
    _pairs()
    _bench_jobs()
    _checks()
    _soles()
    _wear_days()
    _forecasts()


def downgrade() -> None:
    for name in (
        "forecasts",
        "wear_days",
        "soles",
        "checks",
        "bench_jobs",
        "pairs",
        "wearers",
        "imports",
        "idempotency_keys",
        "fits",
    ):
        op.drop_table(name)


def _fits() -> None:
    op.create_table(
        "fits",
        sa.Column("id", BIG, nullable=False),
        sa.Column("fit_id", sa.String(length=200), nullable=False),
        sa.Column("fitted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("model_version", sa.String(length=40), nullable=False),
        sa.Column("data_version", sa.Integer(), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fits")),
        sa.UniqueConstraint("fit_id", name=op.f("uq_fits_fit_id")),
    )


def _idempotency_keys() -> None:
    op.create_table(
        "idempotency_keys",
        sa.Column("id", BIG, nullable=False),
        sa.Column("route", sa.String(length=200), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("fingerprint", sa.String(length=200), nullable=False),
        sa.Column("status_code", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_idempotency_keys")),
        sa.UniqueConstraint("route", "key", name=op.f("uq_idempotency_keys_route_key")),
    )
    op.create_index(op.f("ix_idempotency_keys_created_at"), "idempotency_keys", ["created_at"])


def _imports() -> None:
    op.create_table(
        "imports",
        sa.Column("id", BIG, nullable=False),
        sa.Column("import_id", sa.String(length=200), nullable=False),
        sa.Column("imported_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("source", sa.String(length=2000), nullable=False),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("report", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_imports")),
        sa.UniqueConstraint("import_id", name=op.f("uq_imports_import_id")),
    )


def _wearers() -> None:
    op.create_table(
        "wearers",
        sa.Column("id", BIG, nullable=False),
        sa.Column("wearer_id", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=2000), nullable=True),
        sa.Column(
            "time_zone", sa.String(length=40), server_default=sa.text("'UTC'"), nullable=False
        ),
        sa.Column("driving_foot", sa.String(length=40), nullable=True),
        sa.Column("email", sa.String(length=2000), nullable=True),
        sa.Column("data_version", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "driving_foot IN ('left', 'right', 'both', 'none')",
            name=op.f("ck_wearers_driving_foot"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wearers")),
        sa.UniqueConstraint("wearer_id", name=op.f("uq_wearers_wearer_id")),
    )


def _pairs() -> None:
    op.create_table(
        "pairs",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_id", sa.String(length=200), nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("label", sa.String(length=2000), nullable=True),
        sa.Column("construction", sa.String(length=40), nullable=False),
        sa.Column("dress_code", sa.String(length=40), nullable=True),
        sa.Column("size_eu", sa.Double(), nullable=True),
        sa.Column("acquired_on", sa.Date(), nullable=True),
        sa.Column("price_minor", BIG, nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("earlier_resoles", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "construction IN ('goodyear_welted', 'hand_welted', 'blake', 'blake_rapid', "
            "'norwegian', 'stitchdown', 'cemented')",
            name=op.f("ck_pairs_construction"),
        ),
        sa.CheckConstraint(
            "dress_code IN ('formal', 'business', 'casual', 'outdoor')",
            name=op.f("ck_pairs_dress_code"),
        ),
        sa.CheckConstraint(
            "earlier_resoles >= 0 AND earlier_resoles <= 30", name=op.f("ck_pairs_earlier_resoles")
        ),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_pairs_price_minor")),
        sa.CheckConstraint("size_eu >= 15 AND size_eu <= 55", name=op.f("ck_pairs_size_eu")),
        sa.ForeignKeyConstraint(
            ["wearer_pk"], ["wearers.id"], name=op.f("fk_pairs_wearer_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pairs")),
        sa.UniqueConstraint("pair_id", name=op.f("uq_pairs_pair_id")),
    )
    op.create_index(op.f("ix_pairs_wearer_pk"), "pairs", ["wearer_pk"])


def _bench_jobs() -> None:
    op.create_table(
        "bench_jobs",
        sa.Column("id", BIG, nullable=False),
        sa.Column("job_id", sa.String(length=200), nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("work", sa.String(length=40), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("finished_on", sa.Date(), nullable=True),
        sa.Column("returned_on", sa.Date(), nullable=True),
        sa.Column("bench_minutes", sa.Double(), nullable=True),
        sa.Column("price_minor", BIG, nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "work IN ('full_sole', 'half_sole', 'top_piece', 'toe_plate', 'rewelt', 'heel_block')",
            name=op.f("ck_bench_jobs_work"),
        ),
        sa.CheckConstraint(
            "bench_minutes >= 0 AND bench_minutes <= 100000",
            name=op.f("ck_bench_jobs_bench_minutes"),
        ),
        sa.CheckConstraint(
            "finished_on >= received_on", name=op.f("ck_bench_jobs_finished_after_received")
        ),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_bench_jobs_price_minor")),
        sa.CheckConstraint(
            "returned_on >= received_on", name=op.f("ck_bench_jobs_returned_after_received")
        ),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_bench_jobs_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_jobs")),
        sa.UniqueConstraint("job_id", name=op.f("uq_bench_jobs_job_id")),
    )
    op.create_index(
        op.f("ix_bench_jobs_pair_pk_received_on"), "bench_jobs", ["pair_pk", "received_on"]
    )


def _checks() -> None:
    op.create_table(
        "checks",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=False),
        sa.Column("foot", sa.String(length=40), nullable=False),
        sa.Column("point", sa.String(length=40), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("value_mm", sa.Double(), nullable=True),
        sa.Column("grade", sa.String(length=40), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("foot IN ('left', 'right')", name=op.f("ck_checks_foot")),
        sa.CheckConstraint(
            "grade IN ('firm', 'give', 'soft', 'hole')", name=op.f("ck_checks_grade")
        ),
        sa.CheckConstraint(
            "method IN ('caliper', 'depth_gauge', 'ultrasonic', 'thumb')",
            name=op.f("ck_checks_method"),
        ),
        sa.CheckConstraint(
            "point IN ('ball', 'toe', 'heel', 'waist')", name=op.f("ck_checks_point")
        ),
        sa.CheckConstraint(
            "(value_mm IS NULL) <> (grade IS NULL)", name=op.f("ck_checks_one_result")
        ),
        sa.CheckConstraint("value_mm >= 0 AND value_mm <= 40", name=op.f("ck_checks_value_mm")),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_checks_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checks")),
        sa.UniqueConstraint(
            "pair_pk",
            "checked_on",
            "foot",
            "point",
            "method",
            name=op.f("uq_checks_pair_pk_checked_on_foot_point_method"),
        ),
    )


def _soles() -> None:
    op.create_table(
        "soles",
        sa.Column("id", BIG, nullable=False),
        sa.Column("sole_id", sa.String(length=200), nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("fitted_on", sa.Date(), nullable=False),
        sa.Column("material", sa.String(length=40), nullable=False),
        sa.Column("nominal_thickness_mm", sa.Double(), nullable=False),
        sa.Column("limit_mm", sa.Double(), nullable=True),
        sa.Column("cover", sa.String(length=40), nullable=True),
        sa.Column("channel", sa.String(length=40), nullable=True),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("channel IN ('closed', 'open', 'none')", name=op.f("ck_soles_channel")),
        sa.CheckConstraint("cover IN ('full', 'half')", name=op.f("ck_soles_cover")),
        sa.CheckConstraint(
            "material IN ('oak_bark_leather', 'veg_tan_leather', 'flexible_leather', 'rubber', "
            "'studded_rubber', 'lug_rubber', 'crepe', 'microcellular')",
            name=op.f("ck_soles_material"),
        ),
        sa.CheckConstraint(
            "limit_mm < nominal_thickness_mm", name=op.f("ck_soles_limit_under_nominal")
        ),
        sa.CheckConstraint("limit_mm >= 0 AND limit_mm <= 40", name=op.f("ck_soles_limit_mm")),
        sa.CheckConstraint(
            "nominal_thickness_mm >= 0 AND nominal_thickness_mm <= 40",
            name=op.f("ck_soles_nominal_thickness_mm"),
        ),
        sa.CheckConstraint("removed_on >= fitted_on", name=op.f("ck_soles_removed_after_fitted")),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_soles_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_soles")),
        sa.UniqueConstraint("sole_id", name=op.f("uq_soles_sole_id")),
    )
    op.create_index(op.f("ix_soles_pair_pk_fitted_on"), "soles", ["pair_pk", "fitted_on"])


def _wear_days() -> None:
    op.create_table(
        "wear_days",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("worn_on", sa.Date(), nullable=False),
        sa.Column("hours", sa.Double(), nullable=True),
        sa.Column("steps", sa.Integer(), nullable=True),
        sa.Column(
            "surface", sa.String(length=40), server_default=sa.text("'pavement'"), nullable=False
        ),
        sa.Column("wet", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.Column("driving_minutes", sa.Double(), nullable=True),
        sa.Column("version", sa.Integer(), server_default=sa.text("1"), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "surface IN ('indoor', 'pavement', 'rough')", name=op.f("ck_wear_days_surface")
        ),
        sa.CheckConstraint(
            "driving_minutes >= 0 AND driving_minutes <= 1440",
            name=op.f("ck_wear_days_driving_minutes"),
        ),
        sa.CheckConstraint("hours >= 0 AND hours <= 24", name=op.f("ck_wear_days_hours")),
        sa.CheckConstraint("steps >= 0 AND steps <= 200000", name=op.f("ck_wear_days_steps")),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_wear_days_pair_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wear_days")),
        sa.UniqueConstraint("pair_pk", "worn_on", name=op.f("uq_wear_days_pair_pk_worn_on")),
    )


def _forecasts() -> None:
    op.create_table(
        "forecasts",
        sa.Column("id", BIG, nullable=False),
        sa.Column("pair_pk", BIG, nullable=False),
        sa.Column("sole_pk", BIG, nullable=True),
        sa.Column("fit_pk", BIG, nullable=True),
        sa.Column("data_version", sa.Integer(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("foot", sa.String(length=40), nullable=False),
        sa.Column("point", sa.String(length=40), nullable=False),
        sa.Column("thickness_mm_p50", sa.Double(), nullable=True),
        sa.Column("rate_mm_per_wear_day_p50", sa.Double(), nullable=True),
        sa.Column("due_p05", sa.Date(), nullable=True),
        sa.Column("due_p10", sa.Date(), nullable=True),
        sa.Column("due_p25", sa.Date(), nullable=True),
        sa.Column("due_p50", sa.Date(), nullable=True),
        sa.Column("due_p75", sa.Date(), nullable=True),
        sa.Column("due_p90", sa.Date(), nullable=True),
        sa.Column("due_p95", sa.Date(), nullable=True),
        sa.Column("chance_now", sa.Double(), nullable=True),
        sa.Column("chance_30d", sa.Double(), nullable=True),
        sa.Column("chance_90d", sa.Double(), nullable=True),
        sa.Column("chance_180d", sa.Double(), nullable=True),
        sa.Column("chance_365d", sa.Double(), nullable=True),
        sa.Column("send_by", sa.Date(), nullable=True),
        sa.Column("book_by", sa.Date(), nullable=True),
        sa.Column("band", sa.String(length=40), nullable=True),
        sa.Column("first_foot", sa.String(length=40), nullable=True),
        sa.Column("reason", sa.String(length=2000), nullable=True),
        sa.CheckConstraint(
            "band IN ('sound', 'watch', 'book in', 'stop wearing', 'away', 'retired')",
            name=op.f("ck_forecasts_band"),
        ),
        sa.CheckConstraint("first_foot IN ('left', 'right')", name=op.f("ck_forecasts_first_foot")),
        sa.CheckConstraint("foot IN ('left', 'right', 'pair')", name=op.f("ck_forecasts_foot")),
        sa.CheckConstraint("point IN ('ball', 'toe', 'heel')", name=op.f("ck_forecasts_point")),
        sa.CheckConstraint(
            "chance_180d >= 0 AND chance_180d <= 1", name=op.f("ck_forecasts_chance_180d")
        ),
        sa.CheckConstraint(
            "chance_30d >= 0 AND chance_30d <= 1", name=op.f("ck_forecasts_chance_30d")
        ),
        sa.CheckConstraint(
            "chance_365d >= 0 AND chance_365d <= 1", name=op.f("ck_forecasts_chance_365d")
        ),
        sa.CheckConstraint(
            "chance_90d >= 0 AND chance_90d <= 1", name=op.f("ck_forecasts_chance_90d")
        ),
        sa.CheckConstraint(
            "chance_now >= 0 AND chance_now <= 1", name=op.f("ck_forecasts_chance_now")
        ),
        sa.ForeignKeyConstraint(
            ["fit_pk"], ["fits.id"], name=op.f("fk_forecasts_fit_pk"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["pair_pk"], ["pairs.id"], name=op.f("fk_forecasts_pair_pk"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["sole_pk"], ["soles.id"], name=op.f("fk_forecasts_sole_pk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecasts")),
        sa.UniqueConstraint(
            "pair_pk", "foot", "point", name=op.f("uq_forecasts_pair_pk_foot_point")
        ),
    )
    op.create_index(op.f("ix_forecasts_fit_pk"), "forecasts", ["fit_pk"])
    op.create_index(
        op.f("ix_forecasts_foot_point_send_by"), "forecasts", ["foot", "point", "send_by"]
    )
    op.create_index(op.f("ix_forecasts_sole_pk"), "forecasts", ["sole_pk"])
