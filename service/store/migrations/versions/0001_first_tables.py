"""First tables: calibrations, stills, readings, intents, attempts, receipts."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def _number() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "calibrations",
        _number(),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    op.create_table(
        "stills",
        _number(),
        sa.Column("received_at", sa.DateTime, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False, index=True),
        sa.Column("size_bytes", sa.Integer, nullable=False),
    )
    op.create_table(
        "readings",
        _number(),
        sa.Column("still_id", sa.Integer, sa.ForeignKey("stills.id"), nullable=False, index=True),
        sa.Column(
            "calibration_id",
            sa.Integer,
            sa.ForeignKey("calibrations.id"),
            nullable=False,
            index=True,
        ),
        sa.Column("read_at", sa.DateTime, nullable=False),
        sa.Column("took_ms", sa.Float, nullable=False),
        sa.Column("comparable", sa.Boolean, nullable=False),
        sa.Column("layout", sa.JSON, nullable=False),
        sa.Column("comparison", sa.JSON(none_as_null=True)),
    )
    op.create_table(
        "intents",
        _number(),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column(
            "before_reading_id",
            sa.Integer,
            sa.ForeignKey("readings.id"),
            nullable=False,
            index=True,
        ),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    op.create_index(
        "uq_intents_pending",
        "intents",
        ["state"],
        unique=True,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    )
    op.create_table(
        "attempts",
        _number(),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column(
            "intent_id", sa.Integer, sa.ForeignKey("intents.id"), nullable=False, unique=True
        ),
        sa.Column(
            "before_reading_id",
            sa.Integer,
            sa.ForeignKey("readings.id"),
            nullable=False,
            index=True,
        ),
        sa.Column(
            "after_reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True
        ),
        sa.Column("verdict", sa.JSON, nullable=False),
        sa.Column("offset_along_mm", sa.Float),
        sa.Column("offset_across_mm", sa.Float),
    )
    op.create_table(
        "receipts",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("given_at", sa.DateTime, nullable=False),
        sa.Column("body", sa.JSON, nullable=False),
    )


def downgrade() -> None:
    """Drop them, last made first."""
    for name in ("receipts", "attempts", "intents", "readings", "stills", "calibrations"):
        op.drop_table(name)
