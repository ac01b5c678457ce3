"""What was told: answers to idempotency keys, and events for whoever listens."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number, to

receipts = sa.Table(
    "receipts",
    metadata,
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("fingerprint", sa.String(64), nullable=False),
    moment("given_at"),
    sa.Column("body", sa.JSON, nullable=False),
)

events = sa.Table(
    "events",
    metadata,
    number(),
    moment("at"),
    to("table_id", "tables", null=True, index=False),
    sa.Column("kind", sa.String(32), nullable=False),
    sa.Column("ids", sa.JSON, nullable=False),
)
