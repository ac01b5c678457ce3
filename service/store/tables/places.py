"""Tables and who plays at them, with what is known of each: camera, ball set, settings, guide."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number, to

players = sa.Table(
    "players",
    metadata,
    number(),
    sa.Column("name", sa.Text, nullable=False),
    moment("made_at"),
)

tables = sa.Table(
    "tables",
    metadata,
    number(),
    sa.Column("name", sa.Text, nullable=False),
    moment("made_at"),
    # who plays there now
    to("player_id", "players", index=False),
)

player_settings = sa.Table(
    "player_settings",
    metadata,
    number(),
    to("player_id", "players", first=True),
    moment("set_at"),
    sa.Column("document", sa.JSON, nullable=False),
)

calibrations = sa.Table(
    "calibrations",
    metadata,
    number(),
    to("table_id", "tables", first=True),
    sa.Column("camera", sa.Text, nullable=False, server_default="overhead"),
    moment("set_at"),
    # when that camera was taken away; only ever of a camera's newest
    moment("ended_at", null=True),
    sa.Column("document", sa.JSON, nullable=False),
)

sets = sa.Table(
    "sets",
    metadata,
    number(),
    to("table_id", "tables", first=True),
    moment("taught_at"),
    sa.Column("document", sa.JSON, nullable=False),
)

watches = sa.Table(
    "watches",
    metadata,
    sa.Column("table_id", sa.Integer, sa.ForeignKey("tables.id"), primary_key=True),
    moment("set_at"),
    # as it was given, with name and password where it is an address that needs them
    sa.Column("source", sa.Text, nullable=False),
    sa.Column("camera", sa.Text, primary_key=True, server_default="overhead"),
)

guides = sa.Table(
    "guides",
    metadata,
    sa.Column("table_id", sa.Integer, sa.ForeignKey("tables.id"), primary_key=True),
    moment("set_at"),
    sa.Column("layout", sa.JSON, nullable=False),
    to("layout_id", "layouts", null=True),
    sa.Column("tolerance_mm", sa.Float, nullable=False),
)
