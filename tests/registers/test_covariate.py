"""Does one entry of the register bring a new covariate everywhere it should show?"""

from __future__ import annotations

import pytest

from solespan.api.storage.schema import newest_revision

ENTRY = """    Covariate(
        "salted",
        "worn on salted ground",
        Logged(
            Column("salted", "flag", "salt lay on the ground", default=False),
            "on salted ground",
            heading="Salt",
            flag_words={True: "salted", False: "no salt"},
        ),
        1.4,
        0.2,
        "made up by a test",
        days="salted days",
    ),
"""
MIGRATION = '''"""Wear days: was the ground salted?"""

import sqlalchemy as sa
from alembic import op

revision = "made_up"
down_revision = "{before}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("wear_days") as table:
        table.add_column(
            sa.Column("salted", sa.Boolean(), nullable=False, server_default=sa.text("false"))
        )


def downgrade() -> None:
    with op.batch_alter_table("wear_days") as table:
        table.drop_column("salted")
'''


@pytest.mark.slow
def test_an_entry_and_a_migration_bring_a_covariate_everywhere(checkout):
    checkout.put_before("forecast/covariates.py", '    Covariate("driving"', ENTRY)
    checkout.write("api/migrations/versions/made_up.py", MIGRATION.format(before=newest_revision()))
    checkout.run("covariate_in_use.py")
    assert len(checkout.by_hand) == 2
