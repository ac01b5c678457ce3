"""What a player keeps to play again: plans and layouts. Nothing is erased, it is struck."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number, to

plans = sa.Table(
    "plans",
    metadata,
    number(),
    sa.Column("title", sa.Text, nullable=False),
    moment("made_at"),
    moment("changed_at"),
    moment("struck_at", null=True),
    sa.Column("document", sa.JSON, nullable=False),
)

layouts = sa.Table(
    "layouts",
    metadata,
    number(),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    moment("made_at"),
    moment("changed_at"),
    moment("struck_at", null=True),
    to("reading_id", "readings", null=True),
    sa.Column("layout", sa.JSON, nullable=False),
)

layout_tags = sa.Table(
    "layout_tags",
    metadata,
    sa.Column("layout_id", sa.Integer, sa.ForeignKey("layouts.id"), primary_key=True),
    sa.Column("tag", sa.String(100), primary_key=True),
    sa.Index("ix_layout_tags_tag", "tag"),
)
