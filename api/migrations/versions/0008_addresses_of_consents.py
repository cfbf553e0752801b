"""What does this step change? A consent keeps the address of its channel, of any kind.

Letters had a column of their own for it; telephone numbers and others stand in the same one now.
"""

from __future__ import annotations

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("consents") as table:
        table.alter_column("postal_address", new_column_name="address")


def downgrade() -> None:
    with op.batch_alter_table("consents") as table:
        table.alter_column("address", new_column_name="postal_address")
