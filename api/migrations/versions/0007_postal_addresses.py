"""What does this step change? A consent to letters may say where they are posted to.

Back: `downgrade` drops the column; the consents stay, the addresses are lost.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("consents") as table:
        table.add_column(sa.Column("postal_address", sa.String(length=500), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("consents") as table:
        table.drop_column("postal_address")
