"""What does this step change? It adds notices: decisions, outbox, consents, stopped addresses.

Each belongs to a tenant; on PostgreSQL row-level security is the second wall.
Back: `downgrade` drops them, and with them who agreed and who was told; what was logged stays.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

# SQLite numbers rows by itself only when the key's type is exactly INTEGER.
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
MOMENT = sa.DateTime(timezone=True)
WORD, ID, TEXT = sa.String(length=40), sa.String(length=200), sa.String(length=2000)
TABLES = ("notices", "notice_pairs", "outbox", "consents", "stopped_addresses")


def upgrade() -> None:
    _notices()
    _notice_pairs()
    _outbox()
    _consents()
    _stopped_addresses()
    if op.get_bind().dialect.name == "postgresql":
        for name in TABLES:
            _wall(name)


def downgrade() -> None:
    for name in reversed(TABLES):
        op.drop_table(name)


def _wall(name: str) -> None:
    mine = "tenant_pk = nullif(current_setting('app.tenant', true), '')::bigint"
    op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
    op.execute(f"ALTER TABLE {name} FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY tenant_only ON {name} USING ({mine}) WITH CHECK ({mine})")


def _owned(table: str, **points_at: str) -> list[sa.schema.SchemaItem]:
    """Give the number of the row, of its tenant, and of the rows it goes with."""
    keys = points_at | {"tenant_pk": "tenants"}
    return [
        sa.Column("id", BIG, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        *(sa.Column(column, BIG, nullable=False) for column in keys),
        *(
            sa.ForeignKeyConstraint(
                [column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}"), ondelete="CASCADE"
            )
            for column, other in keys.items()
        ),
    ]


def _check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _index(table: str, *columns: str) -> None:
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))


def _notices() -> None:
    op.create_table(
        "notices",
        *_owned("notices", wearer_pk="wearers"),
        sa.Column("notice_id", sa.String(length=32), nullable=False),
        sa.Column("decided_at", MOMENT, nullable=False),
        sa.Column("decided_on", sa.Date(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        _check("notices", "sequence", "sequence IN (1, 2)"),
        _unique("notices", "notice_id"),
    )
    _index("notices", "wearer_pk", "decided_on")


def _notice_pairs() -> None:
    name = "notice_pairs"
    op.create_table(
        name,
        *_owned(name, notice_pk="notices", pair_pk="pairs"),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("foot", WORD, nullable=False),
        sa.Column("sole_id", ID, nullable=False),
        sa.Column("window", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("why", WORD, nullable=False),
        sa.Column("told_day", sa.Date(), nullable=False),
        sa.Column("answer", WORD, nullable=True),
        sa.Column("answered_at", MOMENT, nullable=True),
        _check(name, "answer", "answer IN ('booked', 'declined', 'elsewhere', 'checked')"),
        _check(name, "sequence", "sequence IN (1, 2)"),
        _unique(name, "pair_pk", "foot", "sole_id", "window", "sequence"),
        _unique(name, "notice_pk", "place"),
    )


def _outbox() -> None:
    states = "state IN ('pending', 'claimed', 'sent', 'failed', 'cancelled')"
    op.create_table(
        "outbox",
        *_owned("outbox", notice_pk="notices"),
        sa.Column("channel", WORD, nullable=False),
        sa.Column("message_id", ID, nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("state", WORD, nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_try_at", MOMENT, nullable=False),
        sa.Column("lease_until", MOMENT, nullable=True),
        sa.Column("worker", ID, nullable=True),
        sa.Column("problem", TEXT, nullable=True),
        sa.Column("done_at", MOMENT, nullable=True),
        sa.Column("printed_at", MOMENT, nullable=True),
        _check("outbox", "state", states),
        _check("outbox", "attempts", "attempts >= 0"),
        _unique("outbox", "message_id"),
        _unique("outbox", "notice_pk", "channel"),
    )
    _index("outbox", "tenant_pk", "state", "next_try_at")


def _consents() -> None:
    somehow = "(withdrawn_at IS NULL) = (withdrawn_how IS NULL)"
    op.create_table(
        "consents",
        *_owned("consents", wearer_pk="wearers"),
        sa.Column("channel", WORD, nullable=False),
        sa.Column("given_at", MOMENT, nullable=False),
        sa.Column("given_how", TEXT, nullable=False),
        sa.Column("given_by", ID, nullable=False),
        sa.Column("withdrawn_at", MOMENT, nullable=True),
        sa.Column("withdrawn_how", TEXT, nullable=True),
        _check("consents", "withdrawn_somehow", somehow),
    )
    _index("consents", "wearer_pk", "channel")


def _stopped_addresses() -> None:
    name = "stopped_addresses"
    op.create_table(
        name,
        *_owned(name),
        sa.Column("address_hash", sa.String(length=64), nullable=False),
        sa.Column("reason", TEXT, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        _unique(name, "tenant_pk", "address_hash"),
    )
