"""A table's cameras are watched each by itself."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

_OLD = sa.table(
    "watches",
    sa.column("table_id", sa.Integer),
    sa.column("set_at", sa.DateTime),
    sa.column("source", sa.Text),
)
_NEW = sa.table(
    "watches",
    sa.column("table_id", sa.Integer),
    sa.column("set_at", sa.DateTime),
    sa.column("source", sa.Text),
    sa.column("camera", sa.Text),
)


def upgrade() -> None:
    """What is watched is watched by the overhead camera."""
    kept = op.get_bind().execute(sa.select(_OLD)).mappings().all()
    op.drop_table("watches")
    op.create_table(
        "watches",
        *_columns(),
        sa.Column("camera", sa.Text, nullable=False, server_default="overhead"),
        sa.ForeignKeyConstraint(["table_id"], ["tables.id"], name="fk_watches_table_id"),
        sa.PrimaryKeyConstraint("table_id", "camera", name="pk_watches"),
    )
    op.bulk_insert(_NEW, [{**row, "camera": "overhead"} for row in kept])


def downgrade() -> None:
    """Back to one a table."""
    query = sa.select(_NEW.c.table_id, _NEW.c.set_at, _NEW.c.source).where(
        _NEW.c.camera == "overhead"
    )
    kept = op.get_bind().execute(query).mappings().all()
    op.drop_table("watches")
    op.create_table(
        "watches",
        *_columns(),
        sa.ForeignKeyConstraint(["table_id"], ["tables.id"], name="fk_watches_table_id"),
        sa.PrimaryKeyConstraint("table_id", name="pk_watches"),
    )
    op.bulk_insert(_OLD, [dict(row) for row in kept])


def _columns() -> list[sa.Column]:
    return [
        sa.Column("table_id", sa.Integer, nullable=False),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
    ]
