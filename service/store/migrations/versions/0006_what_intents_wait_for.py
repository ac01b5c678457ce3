"""An intent may wait for a layout; who gave it; and a change by hand belongs to a table."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Intents of old were given by persons, for the table as it lay."""
    op.add_column("intents", sa.Column("waits_for", sa.JSON(none_as_null=True)))
    op.add_column(
        "intents", sa.Column("given_by", sa.String(8), nullable=False, server_default="person")
    )
    with op.batch_alter_table("changes") as changed:
        changed.add_column(
            sa.Column(
                "table_id",
                sa.Integer,
                sa.ForeignKey("tables.id", name="fk_changes_table_id"),
                nullable=False,
                server_default=sa.text("1"),
            )
        )
    op.create_index("ix_changes_table_id", "changes", ["table_id", "undone_at", "id"])


def downgrade() -> None:
    """Back to intents from the table as it lay."""
    op.drop_index("ix_changes_table_id", "changes")
    with op.batch_alter_table("changes") as changed:
        changed.drop_column("table_id")
    op.drop_column("intents", "given_by")
    op.drop_column("intents", "waits_for")
