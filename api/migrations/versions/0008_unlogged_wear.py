"""Unlogged wear: stated paces, jobs that our advice led to, and the chance that a pair is in use.

Back: `downgrade` drops the columns; what owners stated is lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

PACED = ("wearers", "pairs")
ADVISED = ("bench_jobs", "bench_orders")


def upgrade() -> None:
    for name in PACED:
        with op.batch_alter_table(name) as table:
            table.add_column(sa.Column("wears_per_week", sa.Double(), nullable=True))
            table.create_check_constraint(
                op.f(f"ck_{name}_wears_per_week"), "wears_per_week >= 0 AND wears_per_week <= 7"
            )
    with op.batch_alter_table("pairs") as table:
        table.add_column(sa.Column("in_use_on", sa.Date(), nullable=True))
    for name in ADVISED:
        with op.batch_alter_table(name) as table:
            table.add_column(
                sa.Column("advised", sa.Boolean(), server_default=sa.text("false"), nullable=False)
            )
    with op.batch_alter_table("forecasts") as table:
        table.add_column(sa.Column("chance_in_use", sa.Double(), nullable=True))
    with op.batch_alter_table("due_outcomes") as table:
        table.add_column(
            sa.Column("supposed", sa.Boolean(), server_default=sa.text("false"), nullable=False)
        )


def downgrade() -> None:
    with op.batch_alter_table("due_outcomes") as table:
        table.drop_column("supposed")
    with op.batch_alter_table("forecasts") as table:
        table.drop_column("chance_in_use")
    for name in ADVISED:
        with op.batch_alter_table(name) as table:
            table.drop_column("advised")
    with op.batch_alter_table("pairs") as table:
        table.drop_column("in_use_on")
    for name in PACED:
        with op.batch_alter_table(name) as table:
            table.drop_constraint(op.f(f"ck_{name}_wears_per_week"), type_="check")
            table.drop_column("wears_per_week")
