"""What does this step change? An invitation gets an id, and says whether it may set a password.

An owner may withdraw what has an id. Those that are open stay good; none of them may set the
password of somebody who belongs to another tenant as well.
Back: `downgrade` drops both columns; the invitations stay.
"""

from __future__ import annotations

from uuid import uuid4

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

INVITED = sa.table(
    "invitations",
    sa.column("id", sa.BigInteger),
    sa.column("invitation_id", sa.String),
    sa.column("new_password", sa.Boolean),
)


def upgrade() -> None:
    with op.batch_alter_table("invitations") as table:
        table.add_column(sa.Column("invitation_id", sa.String(length=200), nullable=True))
        table.add_column(sa.Column("new_password", sa.Boolean(), nullable=True))
    here = op.get_bind()
    for number in here.scalars(sa.select(INVITED.c.id)).all():
        values = {"invitation_id": uuid4().hex, "new_password": False}
        here.execute(sa.update(INVITED).where(INVITED.c.id == number).values(values))
    with op.batch_alter_table("invitations") as table:
        table.alter_column("invitation_id", existing_type=sa.String(length=200), nullable=False)
        table.alter_column("new_password", existing_type=sa.Boolean(), nullable=False)
        table.create_unique_constraint(op.f("uq_invitations_invitation_id"), ["invitation_id"])


def downgrade() -> None:
    with op.batch_alter_table("invitations") as table:
        table.drop_constraint(op.f("uq_invitations_invitation_id"), type_="unique")
        table.drop_column("new_password")
        table.drop_column("invitation_id")
