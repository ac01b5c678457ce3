"""A player's figures lie together, so that statistics read an index in place of every row."""

from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

_FIGURES = (
    "called", "zone_empty", "potted_meant", "scratch", "miss_mm", "off_wanted_mm",
    "offset_along_mm", "offset_across_mm", "arrival_from", "pot_chance", "pot_chance_given_up",
    "travel_mm", "cut_deg", "rails", "spin", "side_spin", "in_a_row", "shot",
)  # fmt: skip


def upgrade() -> None:
    """The index that began the same is not needed beside it."""
    op.create_index(
        "ix_attempts_figures", "attempts", ["player_id", "made_at", "id", "struck_at", *_FIGURES]
    )
    op.drop_index("ix_attempts_player_id", "attempts")


def downgrade() -> None:
    """Back to a look at every row."""
    op.create_index("ix_attempts_player_id", "attempts", ["player_id", "made_at"])
    op.drop_index("ix_attempts_figures", "attempts")
