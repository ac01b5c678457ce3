"""Which of a plan's shots an intent is, and which of them were skipped."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Of attempts of old the order tells."""
    op.add_column("intents", sa.Column("place", sa.Integer))
    op.add_column("practices", sa.Column("skipped", sa.JSON(none_as_null=True)))


def downgrade() -> None:
    """Back to plans whose attempts are counted."""
    op.drop_column("practices", "skipped")
    op.drop_column("intents", "place")
