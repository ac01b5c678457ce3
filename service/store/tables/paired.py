"""Devices that may ask this service, and the codes by which another one comes to be one."""

from __future__ import annotations

import sqlalchemy as sa

from .columns import metadata, moment, number

devices = sa.Table(
    "devices",
    metadata,
    number(),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    # of the token's secret part; the token itself is kept by the device alone
    sa.Column("token_hash", sa.String(64), nullable=False),
    moment("paired_at"),
    moment("seen_at", null=True),
    sa.Column("seen_from", sa.Text),
    moment("revoked_at", null=True),
)

pairing_codes = sa.Table(
    "pairing_codes",
    metadata,
    number(),
    sa.Column("code_hash", sa.String(64), nullable=False),
    sa.Column("role", sa.String(16), nullable=False),
    moment("made_at"),
    moment("ends_at"),
    moment("used_at", null=True),
)
