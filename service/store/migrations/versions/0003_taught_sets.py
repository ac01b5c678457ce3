"""Taught sets, and the corrections of names from which more is learned."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "sets",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("taught_at", sa.DateTime, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column(
            "reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True
        ),
        sa.Column("set_id", sa.Integer, sa.ForeignKey("sets.id")),
        sa.Column("names", sa.JSON, nullable=False),
        sa.Column("layout_before", sa.JSON, nullable=False),
    )


def downgrade() -> None:
    """Drop them."""
    op.drop_table("corrections")
    op.drop_table("sets")
