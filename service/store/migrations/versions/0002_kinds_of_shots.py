"""Kind of shot of an attempt: travel, cut, rails, spin as noted, and the row it belonged to."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_NAMES = ("travel_mm", "cut_deg", "rails", "spin", "side_spin", "in_a_row")


def upgrade() -> None:
    """Add the columns; attempts made before have none of them."""
    op.add_column("attempts", sa.Column("travel_mm", sa.Float))
    op.add_column("attempts", sa.Column("cut_deg", sa.Float))
    op.add_column("attempts", sa.Column("rails", sa.Integer))
    op.add_column("attempts", sa.Column("spin", sa.String(16)))
    op.add_column("attempts", sa.Column("side_spin", sa.String(16)))
    op.add_column("attempts", sa.Column("in_a_row", sa.Integer))


def downgrade() -> None:
    """Drop them."""
    with op.batch_alter_table("attempts") as attempts:
        for name in reversed(_NAMES):
            attempts.drop_column(name)
