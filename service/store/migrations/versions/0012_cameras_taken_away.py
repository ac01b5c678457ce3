"""A further camera can be taken away: its calibration holds no longer, and stays."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """None was taken away so far."""
    op.add_column("calibrations", sa.Column("ended_at", sa.DateTime))


def downgrade() -> None:
    """Those that were taken away are waited for again."""
    op.drop_column("calibrations", "ended_at")
