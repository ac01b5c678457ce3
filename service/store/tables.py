"""The tables as they are now. A change here needs a numbered step in ``migrations/``."""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class UtcTime(sa.types.TypeDecorator[datetime]):
    """A moment with its zone; SQLite keeps none, so it is stored in UTC and given back so."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To naive UTC."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Back to UTC with its zone."""
        return None if value is None else value.replace(tzinfo=UTC)


calibrations = sa.Table(
    "calibrations",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("set_at", UtcTime, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
)

stills = sa.Table(
    "stills",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("received_at", UtcTime, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    sa.Column("size_bytes", sa.Integer, nullable=False),
)

readings = sa.Table(
    "readings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("still_id", sa.Integer, sa.ForeignKey("stills.id"), nullable=False, index=True),
    sa.Column(
        "calibration_id", sa.Integer, sa.ForeignKey("calibrations.id"), nullable=False, index=True
    ),
    sa.Column("read_at", UtcTime, nullable=False),
    sa.Column("took_ms", sa.Float, nullable=False),
    sa.Column("comparable", sa.Boolean, nullable=False),
    sa.Column("layout", sa.JSON, nullable=False),
    sa.Column("comparison", sa.JSON(none_as_null=True)),
)

intents = sa.Table(
    "intents",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("set_at", UtcTime, nullable=False),
    sa.Column(
        "before_reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True
    ),
    sa.Column("state", sa.String(16), nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
    # at most one intent waits for its shot
    sa.Index(
        "uq_intents_pending",
        "state",
        unique=True,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    ),
)

attempts = sa.Table(
    "attempts",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("made_at", UtcTime, nullable=False),
    sa.Column("intent_id", sa.Integer, sa.ForeignKey("intents.id"), nullable=False, unique=True),
    sa.Column(
        "before_reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True
    ),
    sa.Column(
        "after_reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True
    ),
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
)

receipts = sa.Table(
    "receipts",
    metadata,
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("fingerprint", sa.String(64), nullable=False),
    sa.Column("given_at", UtcTime, nullable=False),
    sa.Column("body", sa.JSON, nullable=False),
)

players = sa.Table(
    "players",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("set_at", UtcTime, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
)

sets = sa.Table(
    "sets",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("taught_at", UtcTime, nullable=False),
    sa.Column("document", sa.JSON, nullable=False),
)

corrections = sa.Table(
    "corrections",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("made_at", UtcTime, nullable=False),
    sa.Column("reading_id", sa.Integer, sa.ForeignKey("readings.id"), nullable=False, index=True),
    # the set that held then; a set given later starts anew
    sa.Column("set_id", sa.Integer, sa.ForeignKey("sets.id")),
    sa.Column("names", sa.JSON, nullable=False),
    # as it was read, before the first correction and between two
    sa.Column("layout_before", sa.JSON, nullable=False),
)
