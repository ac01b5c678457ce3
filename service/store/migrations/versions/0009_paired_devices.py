"""Devices that may ask a service beyond its own machine, and the codes that pair them."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Nobody was paired so far."""
    op.create_table(
        "devices",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("paired_at", sa.DateTime, nullable=False),
        sa.Column("seen_at", sa.DateTime),
        sa.Column("seen_from", sa.Text),
        sa.Column("revoked_at", sa.DateTime),
        sa.PrimaryKeyConstraint("id", name="pk_devices"),
    )
    op.create_table(
        "pairing_codes",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("code_hash", sa.String(64), nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column("ends_at", sa.DateTime, nullable=False),
        sa.Column("used_at", sa.DateTime),
        sa.PrimaryKeyConstraint("id", name="pk_pairing_codes"),
    )


def downgrade() -> None:
    """Back to a service of one machine."""
    op.drop_table("pairing_codes")
    op.drop_table("devices")
