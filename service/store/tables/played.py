"""Practices, intents, attempts, and the changes by hand that can be undone."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number, to

practices = sa.Table(
    "practices",
    metadata,
    number(),
    to("table_id", "tables", index=False),
    to("player_id", "players"),
    moment("began_at"),
    moment("finished_at", null=True),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("way", sa.JSON, nullable=False),
    to("plan_id", "plans", null=True),
    # places of a plan's shots that are not to be played; null: none
    sa.Column("skipped", sa.JSON(none_as_null=True)),
    # at most one practice is open at a table
    sa.Index(
        "uq_practices_open",
        "table_id",
        unique=True,
        sqlite_where=sa.text("finished_at IS NULL"),
        postgresql_where=sa.text("finished_at IS NULL"),
    ),
)

intents = sa.Table(
    "intents",
    metadata,
    number(),
    to("table_id", "tables", index=False, first=True),
    to("player_id", "players", index=False, first=True),
    to("practice_id", "practices", null=True),
    moment("set_at"),
    to("before_reading_id", "readings"),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    # the layout that must lie there before it holds; null: as the table lay
    sa.Column("waits_for", sa.JSON(none_as_null=True)),
    # person, way or layout
    sa.Column("given_by", sa.String(8), nullable=False, server_default="person"),
    # which of the plan's shots it is, from 1; null: none of them, or from before it was kept
    sa.Column("place", sa.Integer),
    # at most one intent a table waits for its shot
    sa.Index(
        "uq_intents_pending",
        "table_id",
        unique=True,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    ),
)

_PLAIN: tuple[sa.Column[object], ...] = (
    sa.Column("called", sa.String(20)),
    sa.Column("p_in", sa.Float),
    sa.Column("miss_mm", sa.Float),
    sa.Column("miss_x_mm", sa.Float),
    sa.Column("miss_y_mm", sa.Float),
    sa.Column("along_mm", sa.Float),
    sa.Column("across_mm", sa.Float),
    sa.Column("off_wanted_mm", sa.Float),
    sa.Column("stop_x_mm", sa.Float),
    sa.Column("stop_y_mm", sa.Float),
    sa.Column("wanted_x_mm", sa.Float),
    sa.Column("wanted_y_mm", sa.Float),
    sa.Column("arrival_from", sa.String(8)),
    sa.Column("left_cut_deg", sa.Float),
    sa.Column("left_side", sa.String(8)),
    sa.Column("hooked", sa.String(8)),
    sa.Column("path_to_pocket", sa.String(20)),
    sa.Column("frozen", sa.Boolean),
    sa.Column("reach", sa.String(16)),
    sa.Column("potted_meant", sa.Boolean),
    sa.Column("scratch", sa.Boolean),
    sa.Column("zone_empty", sa.Boolean),
    sa.Column("pot_chance", sa.Float),
    sa.Column("pot_chance_given_up", sa.Float),
    sa.Column("shot", sa.String(64)),
)
"""Figures of the verdict's document, kept beside it for statistics; ``plain.py`` says what each is.
"""

FIGURES = (
    "called", "zone_empty", "potted_meant", "scratch", "miss_mm", "off_wanted_mm",
    "offset_along_mm", "offset_across_mm", "arrival_from", "pot_chance", "pot_chance_given_up",
    "travel_mm", "cut_deg", "rails", "spin", "side_spin", "in_a_row", "shot",
)  # fmt: skip
"""Columns that statistics are worked out of."""

attempts = sa.Table(
    "attempts",
    metadata,
    number(),
    to("table_id", "tables", index=False, first=True),
    to("player_id", "players", index=False, first=True),
    to("practice_id", "practices", null=True),
    moment("made_at"),
    # null: it counts
    moment("struck_at", null=True),
    sa.Column("intent_id", sa.Integer, sa.ForeignKey("intents.id"), nullable=False, unique=True),
    to("before_reading_id", "readings"),
    to("after_reading_id", "readings"),
    sa.Column("verdict", sa.JSON, nullable=False),
    sa.Column("offset_along_mm", sa.Float),
    sa.Column("offset_across_mm", sa.Float),
    sa.Column("travel_mm", sa.Float),
    sa.Column("cut_deg", sa.Float),
    sa.Column("rails", sa.Integer),
    sa.Column("spin", sa.String(16)),
    sa.Column("side_spin", sa.String(16)),
    sa.Column("in_a_row", sa.Integer),
    # settings that it was judged by, as a player file has them, and where they came from
    sa.Column("player", sa.JSON, nullable=False),
    sa.Column("player_source", sa.String(16), nullable=False),
    # how far off the balls lay when it began, as the guide said
    sa.Column("set_up", sa.JSON(none_as_null=True)),
    *_PLAIN,
    # a player's figures lie together in their order: statistics need no row, and few pages
    sa.Index("ix_attempts_figures", "player_id", "made_at", "id", "struck_at", *FIGURES),
    sa.Index("ix_attempts_table_id", "table_id", "id"),
)

changes = sa.Table(
    "changes",
    metadata,
    number(),
    moment("at"),
    to("table_id", "tables", index=False, first=True),
    sa.Column("kind", sa.String(32), nullable=False),
    to("attempt_id", "attempts", null=True),
    sa.Column("before", sa.JSON(none_as_null=True)),
    sa.Column("after", sa.JSON(none_as_null=True)),
    moment("undone_at", null=True),
    sa.Index("ix_changes_table_id", "table_id", "undone_at", "id"),
)
