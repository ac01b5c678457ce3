"""Stills, what was read in them, and what was said of their names."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number, to

stills = sa.Table(
    "stills",
    metadata,
    number(),
    to("table_id", "tables", first=True),
    # posted, watched or imported
    sa.Column("source", sa.String(16), nullable=False, server_default="posted"),
    moment("received_at"),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    sa.Column("size_bytes", sa.Integer, nullable=False),
)

readings = sa.Table(
    "readings",
    metadata,
    number(),
    to("still_id", "stills"),
    to("calibration_id", "calibrations"),
    to("table_id", "tables", index=False, first=True),
    # a still taken now at that table; not one of another day, nor one read again
    sa.Column("live", sa.Boolean, nullable=False, server_default=sa.true()),
    moment("read_at"),
    sa.Column("took_ms", sa.Float, nullable=False),
    sa.Column("comparable", sa.Boolean, nullable=False),
    sa.Column("layout", sa.JSON, nullable=False),
    sa.Column("comparison", sa.JSON(none_as_null=True)),
    to("set_id", "sets", null=True),
    # hash of the networks and release that read it; null before it was kept
    sa.Column("weights", sa.String(64)),
    sa.Column("software", sa.String(64)),
    # what happened since the live reading before it
    sa.Column("outcome", sa.JSON(none_as_null=True)),
    sa.Index("ix_readings_table_id", "table_id", "live", "id"),
)

corrections = sa.Table(
    "corrections",
    metadata,
    number(),
    moment("made_at"),
    to("reading_id", "readings"),
    # the set that held then; a set given later starts anew
    to("set_id", "sets", null=True, index=False),
    sa.Column("names", sa.JSON, nullable=False),
    # as it was read, before the first correction and between two
    sa.Column("layout_before", sa.JSON, nullable=False),
)
