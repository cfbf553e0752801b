"""What does this step change? It adds accounts, and gives every logged row to a tenant.

What was there becomes the first tenant's. On PostgreSQL row-level security is the second wall: a
later step that changes data must set `app.tenant` for each tenant first.
Back: `downgrade` needs that there is only the first tenant; accounts go, what was logged stays.
"""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
MOMENT = sa.DateTime(timezone=True)

OWNED = (
    "wearers",
    "pairs",
    "soles",
    "wear_days",
    "checks",
    "bench_jobs",
    "imports",
    "fits",
    "forecasts",
    "idempotency_keys",
    "bench_orders",
    "bench_events",
    "bench_papers",
    "bench_photos",
    "due_outcomes",
    "shop_settings",
    "bench_plans",
    "stock_items",
    "stock_moves",
    "rack_plans",
    "pair_traits",
    "resole_routes",
    "care_rules",
    "care_done",
    "calendar_feeds",
)
UNIQUE = {
    "wearers": ("wearer_id",),
    "pairs": ("pair_id",),
    "soles": ("sole_id",),
    "bench_jobs": ("job_id",),
    "idempotency_keys": ("route", "key"),
    "shop_settings": ("name",),
    "stock_items": ("item_id",),
}
REPLACED_INDEXES = (
    ("forecasts", ("foot", "point", "send_by")),
    ("idempotency_keys", ("created_at",)),
    ("bench_orders", ("stage", "expected_on")),
)
NEW_INDEXES = ("imports", "fits", "bench_plans")


def upgrade() -> None:
    _tenants()
    for name in OWNED:
        _give(name)
    for name, columns in REPLACED_INDEXES:
        op.drop_index(op.f(f"ix_{name}_{'_'.join(columns)}"), name)
        op.create_index(
            op.f(f"ix_{name}_tenant_pk_{'_'.join(columns)}"), name, ["tenant_pk", *columns]
        )
    for name in NEW_INDEXES:
        op.create_index(op.f(f"ix_{name}_tenant_pk_id"), name, ["tenant_pk", "id"])
    _people()
    _sessions_and_tokens()
    _audit()
    if op.get_bind().dialect.name == "postgresql":
        for name in (*OWNED, "audit_entries"):
            _wall(name)


def downgrade() -> None:
    bind = op.get_bind()
    tenants = bind.execute(sa.text("SELECT count(*) FROM tenants")).scalar_one()
    if tenants > 1:
        raise RuntimeError("there is more than one tenant: the older schema cannot keep them apart")
    if bind.dialect.name == "postgresql":
        for name in OWNED:
            op.execute(f"DROP POLICY tenant_only ON {name}")
            op.execute(f"ALTER TABLE {name} NO FORCE ROW LEVEL SECURITY")
            op.execute(f"ALTER TABLE {name} DISABLE ROW LEVEL SECURITY")
    for name in (
        "audit_entries",
        "sign_in_tries",
        "invitations",
        "api_tokens",
        "browser_sessions",
        "personal_links",
        "memberships",
        "users",
    ):
        op.drop_table(name)
    for name in NEW_INDEXES:
        op.drop_index(op.f(f"ix_{name}_tenant_pk_id"), name)
    for name, columns in REPLACED_INDEXES:
        op.drop_index(op.f(f"ix_{name}_tenant_pk_{'_'.join(columns)}"), name)
        op.create_index(op.f(f"ix_{name}_{'_'.join(columns)}"), name, list(columns))
    for name in reversed(OWNED):
        _take(name)
    op.drop_table("tenants")


def _checks(name: str) -> tuple[sa.CheckConstraint, ...]:
    """Carry the CHECK constraints over where SQLite copies the table: they are not reflected."""
    bind = op.get_bind()
    if bind.dialect.name != "sqlite":
        return ()
    return tuple(
        sa.CheckConstraint(sa.text(found["sqltext"]), name=op.f(str(found["name"])))
        for found in sa.inspect(bind).get_check_constraints(name)
    )


def _give(name: str) -> None:
    columns = UNIQUE.get(name, ())
    op.add_column(name, sa.Column("tenant_pk", BIG, nullable=True))
    op.execute(sa.update(sa.table(name, sa.column("tenant_pk"))).values(tenant_pk=1))
    with op.batch_alter_table(name, table_args=_checks(name)) as table:
        table.alter_column("tenant_pk", existing_type=BIG, nullable=False)
        table.create_foreign_key(
            op.f(f"fk_{name}_tenant_pk"), "tenants", ["tenant_pk"], ["id"], ondelete="CASCADE"
        )
        if columns:
            joined = "_".join(columns)
            table.drop_constraint(op.f(f"uq_{name}_{joined}"), type_="unique")
            table.create_unique_constraint(
                op.f(f"uq_{name}_tenant_pk_{joined}"), ["tenant_pk", *columns]
            )


def _take(name: str) -> None:
    columns = UNIQUE.get(name, ())
    with op.batch_alter_table(name, table_args=_checks(name)) as table:
        if columns:
            joined = "_".join(columns)
            table.drop_constraint(op.f(f"uq_{name}_tenant_pk_{joined}"), type_="unique")
            table.create_unique_constraint(op.f(f"uq_{name}_{joined}"), list(columns))
        table.drop_constraint(op.f(f"fk_{name}_tenant_pk"), type_="foreignkey")
        table.drop_column("tenant_pk")


def _wall(name: str) -> None:
    mine = "tenant_pk = nullif(current_setting('app.tenant', true), '')::bigint"
    op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
    op.execute(f"ALTER TABLE {name} FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY tenant_only ON {name} USING ({mine}) WITH CHECK ({mine})")


def _id(table: str) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("id", BIG, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    ]


def _points_at(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"), ondelete="CASCADE"
    )


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _index(table: str, *columns: str) -> None:
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))


def _tenants() -> None:
    made = op.create_table(
        "tenants",
        *_id("tenants"),
        sa.Column("tenant_id", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=2000), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.CheckConstraint("kind IN ('rack', 'shop')", name=op.f("ck_tenants_kind")),
        _unique("tenants", "tenant_id"),
    )
    first = {"tenant_id": "own", "name": "My rack", "kind": "rack", "made_at": datetime.now(UTC)}
    op.bulk_insert(made, [first])


def _people() -> None:
    op.create_table(
        "users",
        *_id("users"),
        sa.Column("user_id", sa.String(length=200), nullable=False),
        sa.Column("email", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=2000), nullable=True),
        sa.Column("password_hash", sa.String(length=2000), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("disabled_at", MOMENT, nullable=True),
        _unique("users", "user_id"),
        _unique("users", "email"),
    )
    op.create_table(
        "memberships",
        *_id("memberships"),
        sa.Column("user_pk", BIG, nullable=False),
        sa.Column("tenant_pk", BIG, nullable=False),
        sa.Column("role", sa.String(length=40), nullable=False),
        sa.CheckConstraint("role IN ('owner', 'staff')", name=op.f("ck_memberships_role")),
        _points_at("memberships", "user_pk", "users"),
        _points_at("memberships", "tenant_pk", "tenants"),
        _unique("memberships", "user_pk", "tenant_pk"),
    )
    _index("memberships", "tenant_pk")
    op.create_table(
        "personal_links",
        *_id("personal_links"),
        sa.Column("tenant_pk", BIG, nullable=False),
        sa.Column("wearer_pk", BIG, nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        _points_at("personal_links", "tenant_pk", "tenants"),
        _points_at("personal_links", "wearer_pk", "wearers"),
        _unique("personal_links", "wearer_pk"),
        _unique("personal_links", "secret_hash"),
    )
    _index("personal_links", "tenant_pk")


def _sessions_and_tokens() -> None:
    op.create_table(
        "browser_sessions",
        *_id("browser_sessions"),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("user_pk", BIG, nullable=True),
        sa.Column("link_pk", BIG, nullable=True),
        sa.Column("tenant_pk", BIG, nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=False),
        sa.CheckConstraint(
            "(user_pk IS NULL) <> (link_pk IS NULL)", name=op.f("ck_browser_sessions_one_person")
        ),
        _points_at("browser_sessions", "user_pk", "users"),
        _points_at("browser_sessions", "link_pk", "personal_links"),
        _points_at("browser_sessions", "tenant_pk", "tenants"),
        _unique("browser_sessions", "token_hash"),
    )
    for column in ("user_pk", "link_pk", "tenant_pk", "used_at"):
        _index("browser_sessions", column)
    op.create_table(
        "api_tokens",
        *_id("api_tokens"),
        sa.Column("token_id", sa.String(length=200), nullable=False),
        sa.Column("tenant_pk", BIG, nullable=False),
        sa.Column("user_pk", BIG, nullable=False),
        sa.Column("name", sa.String(length=2000), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.Column("revoked_at", MOMENT, nullable=True),
        _points_at("api_tokens", "tenant_pk", "tenants"),
        _points_at("api_tokens", "user_pk", "users"),
        _unique("api_tokens", "token_id"),
        _unique("api_tokens", "token_hash"),
    )
    _index("api_tokens", "tenant_pk")
    _index("api_tokens", "user_pk")
    op.create_table(
        "invitations",
        *_id("invitations"),
        sa.Column("tenant_pk", BIG, nullable=False),
        sa.Column("email", sa.String(length=200), nullable=False),
        sa.Column("role", sa.String(length=40), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("expires_at", MOMENT, nullable=False),
        sa.CheckConstraint("role IN ('owner', 'staff')", name=op.f("ck_invitations_role")),
        _points_at("invitations", "tenant_pk", "tenants"),
        _unique("invitations", "tenant_pk", "email"),
        _unique("invitations", "secret_hash"),
    )
    _index("invitations", "expires_at")
    op.create_table(
        "sign_in_tries",
        *_id("sign_in_tries"),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_at", MOMENT, nullable=False),
        _unique("sign_in_tries", "key_hash"),
    )
    _index("sign_in_tries", "last_at")


def _audit() -> None:
    op.create_table(
        "audit_entries",
        *_id("audit_entries"),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("actor", sa.String(length=200), nullable=False),
        sa.Column("action", sa.String(length=200), nullable=False),
        sa.Column("subject", sa.JSON(), nullable=False),
        sa.Column("tenant_pk", BIG, nullable=False),
        _points_at("audit_entries", "tenant_pk", "tenants"),
    )
    _index("audit_entries", "tenant_pk", "id")
    _index("audit_entries", "tenant_pk", "at")
