"""What is watched at a table is kept, so that a service that starts again goes on watching."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Nothing was kept so far."""
    op.create_table(
        "watches",
        sa.Column("table_id", sa.Integer, nullable=False),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["table_id"], ["tables.id"], name="fk_watches_table_id"),
        sa.PrimaryKeyConstraint("table_id", name="pk_watches"),
    )


def downgrade() -> None:
    """Back to a service that forgets."""
    op.drop_table("watches")
