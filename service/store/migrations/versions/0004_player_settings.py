"""The player's settings: those that hold now, and those that each attempt was judged by."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

# Until this step everything in a store was judged by the starting values of its release. They
# are history, so they stand here as they were then, whatever the starting values are now.
_STARTING = {
    "format": "restmark-player",
    "version": 1,
    "handedness": "right",
    "hand_back_mm": 1100.0,
    "hand_body_side_mm": 600.0,
    "hand_off_side_mm": 300.0,
    "bridge_back_mm": 2000.0,
    "bridge_body_side_mm": 700.0,
    "bridge_off_side_mm": 500.0,
    "shaft_radius_mm": 6.5,
    "elevation_limit_deg": 15.0,
    "aim_spread_deg": 0.10,
    "bridge_spread_factor": 1.5,
    "speed_spread": 0.15,
    "line_spread_deg": 3.0,
}


def upgrade() -> None:
    """Make the table; attempts made before get the starting values and are called so."""
    op.create_table(
        "players",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    op.add_column("attempts", sa.Column("player", sa.JSON))
    op.add_column("attempts", sa.Column("player_source", sa.String(16)))
    attempts = sa.table("attempts", sa.column("player", sa.JSON), sa.column("player_source"))
    op.execute(sa.update(attempts).values(player=_STARTING, player_source="starting values"))
    with op.batch_alter_table("attempts") as changed:
        changed.alter_column("player", existing_type=sa.JSON(), nullable=False)
        changed.alter_column("player_source", existing_type=sa.String(16), nullable=False)


def downgrade() -> None:
    """Drop them."""
    with op.batch_alter_table("attempts") as attempts:
        attempts.drop_column("player_source")
        attempts.drop_column("player")
    op.drop_table("players")
