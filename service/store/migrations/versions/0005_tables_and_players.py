"""Several tables and players, practices, plans, layouts; what undoing, events and figures need."""

import hashlib
import json
import math
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_PLAIN: dict[str, sa.types.TypeEngine[Any]] = {
    "called": sa.String(20),
    "p_in": sa.Float(),
    "miss_mm": sa.Float(),
    "miss_x_mm": sa.Float(),
    "miss_y_mm": sa.Float(),
    "along_mm": sa.Float(),
    "across_mm": sa.Float(),
    "off_wanted_mm": sa.Float(),
    "stop_x_mm": sa.Float(),
    "stop_y_mm": sa.Float(),
    "wanted_x_mm": sa.Float(),
    "wanted_y_mm": sa.Float(),
    "arrival_from": sa.String(8),
    "left_cut_deg": sa.Float(),
    "left_side": sa.String(8),
    "hooked": sa.String(8),
    "path_to_pocket": sa.String(20),
    "frozen": sa.Boolean(),
    "reach": sa.String(16),
    "potted_meant": sa.Boolean(),
    "scratch": sa.Boolean(),
    "zone_empty": sa.Boolean(),
    "pot_chance": sa.Float(),
    "pot_chance_given_up": sa.Float(),
    "shot": sa.String(64),
}
_AT_ONCE = 500
"""Attempts whose plain columns are filled at once."""


def upgrade() -> None:
    """Make the tables; what a store of one table held belongs to table 1 and player 1."""
    _make_places()
    _make_kept()
    _widen_seen()
    _widen_played()
    _make_told()
    _fill_plain()


def _number() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _to(
    table: str, name: str, target: str, *, null: bool = False, first: bool = False
) -> sa.Column[int]:
    return sa.Column(
        name,
        sa.Integer,
        sa.ForeignKey(f"{target}.id", name=f"fk_{table}_{name}"),
        nullable=null,
        server_default=sa.text("1") if first else None,
    )


def _make_places() -> None:
    settings = op.create_table(
        "player_settings",
        _number(),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    _move("players", settings.name)
    players = op.create_table(
        "players",
        _number(),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("made_at", sa.DateTime, nullable=False),
    )
    tables = op.create_table(
        "tables",
        _number(),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("made_at", sa.DateTime, nullable=False),
        _to("tables", "player_id", "players"),
    )
    now = datetime.now(UTC).replace(tzinfo=None)
    op.bulk_insert(players, [{"name": "Player 1", "made_at": now}])
    op.bulk_insert(tables, [{"name": "Table 1", "made_at": now, "player_id": 1}])
    with op.batch_alter_table("player_settings") as changed:
        changed.add_column(_to("player_settings", "player_id", "players", first=True))
    op.create_index("ix_player_settings_player_id", "player_settings", ["player_id"])
    with op.batch_alter_table("calibrations") as changed:
        changed.add_column(_to("calibrations", "table_id", "tables", first=True))
        changed.add_column(sa.Column("camera", sa.Text, nullable=False, server_default="overhead"))
    op.create_index("ix_calibrations_table_id", "calibrations", ["table_id"])
    with op.batch_alter_table("sets") as changed:
        changed.add_column(_to("sets", "table_id", "tables", first=True))
    op.create_index("ix_sets_table_id", "sets", ["table_id"])


def _move(one: str, other: str) -> None:
    """Settings from one table to another; a table that is renamed keeps its constraints' names.

    They are numbered anew in their order: nobody points to them, and none was ever erased.
    """
    op.execute(
        f"INSERT INTO {other} (set_at, document) SELECT set_at, document FROM {one} ORDER BY id"
    )
    op.drop_table(one)


def _make_kept() -> None:
    op.create_table(
        "plans",
        _number(),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column("changed_at", sa.DateTime, nullable=False),
        sa.Column("struck_at", sa.DateTime),
        sa.Column("document", sa.JSON, nullable=False),
    )
    op.create_table(
        "practices",
        _number(),
        _to("practices", "table_id", "tables"),
        _to("practices", "player_id", "players"),
        sa.Column("began_at", sa.DateTime, nullable=False),
        sa.Column("finished_at", sa.DateTime),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("way", sa.JSON, nullable=False),
        _to("practices", "plan_id", "plans", null=True),
    )
    op.create_index(
        "uq_practices_open",
        "practices",
        ["table_id"],
        unique=True,
        sqlite_where=sa.text("finished_at IS NULL"),
        postgresql_where=sa.text("finished_at IS NULL"),
    )
    op.create_index("ix_practices_player_id", "practices", ["player_id"])
    op.create_index("ix_practices_plan_id", "practices", ["plan_id"])
    op.create_table(
        "layouts",
        _number(),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("made_at", sa.DateTime, nullable=False),
        sa.Column("changed_at", sa.DateTime, nullable=False),
        sa.Column("struck_at", sa.DateTime),
        _to("layouts", "reading_id", "readings", null=True),
        sa.Column("layout", sa.JSON, nullable=False),
    )
    op.create_index("ix_layouts_reading_id", "layouts", ["reading_id"])
    op.create_table(
        "layout_tags",
        sa.Column(
            "layout_id",
            sa.Integer,
            sa.ForeignKey("layouts.id", name="fk_layout_tags_layout_id"),
            primary_key=True,
        ),
        sa.Column("tag", sa.String(100), primary_key=True),
    )
    op.create_index("ix_layout_tags_tag", "layout_tags", ["tag"])
    op.create_table(
        "guides",
        sa.Column(
            "table_id",
            sa.Integer,
            sa.ForeignKey("tables.id", name="fk_guides_table_id"),
            primary_key=True,
        ),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("layout", sa.JSON, nullable=False),
        _to("guides", "layout_id", "layouts", null=True),
        sa.Column("tolerance_mm", sa.Float, nullable=False),
    )
    op.create_index("ix_guides_layout_id", "guides", ["layout_id"])


def _widen_seen() -> None:
    with op.batch_alter_table("stills") as changed:
        changed.add_column(_to("stills", "table_id", "tables", first=True))
        changed.add_column(
            sa.Column("source", sa.String(16), nullable=False, server_default="posted")
        )
    op.create_index("ix_stills_table_id", "stills", ["table_id"])
    with op.batch_alter_table("readings") as changed:
        changed.add_column(_to("readings", "table_id", "tables", first=True))
        changed.add_column(sa.Column("live", sa.Boolean, nullable=False, server_default=sa.true()))
        changed.add_column(_to("readings", "set_id", "sets", null=True))
        changed.add_column(sa.Column("weights", sa.String(64)))
        changed.add_column(sa.Column("software", sa.String(64)))
        changed.add_column(sa.Column("outcome", sa.JSON(none_as_null=True)))
    op.create_index("ix_readings_table_id", "readings", ["table_id", "live", "id"])
    op.create_index("ix_readings_set_id", "readings", ["set_id"])
    # a session that was loaded as a whole came in one transaction, so at one moment; a still that
    # was posted has its moment for itself
    together = "SELECT read_at FROM readings GROUP BY read_at HAVING count(*) > 1"
    op.execute(f"UPDATE readings SET live = false WHERE read_at IN ({together})")
    op.execute(
        "UPDATE stills SET source = 'imported' WHERE id IN "
        "(SELECT still_id FROM readings WHERE NOT live)"
    )


def _widen_played() -> None:
    op.drop_index("uq_intents_pending", "intents")
    with op.batch_alter_table("intents") as changed:
        changed.add_column(_to("intents", "table_id", "tables", first=True))
        changed.add_column(_to("intents", "player_id", "players", first=True))
        changed.add_column(_to("intents", "practice_id", "practices", null=True))
    op.create_index(
        "uq_intents_pending",
        "intents",
        ["table_id"],
        unique=True,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    )
    op.create_index("ix_intents_practice_id", "intents", ["practice_id"])
    with op.batch_alter_table("attempts") as changed:
        changed.add_column(_to("attempts", "table_id", "tables", first=True))
        changed.add_column(_to("attempts", "player_id", "players", first=True))
        changed.add_column(_to("attempts", "practice_id", "practices", null=True))
        changed.add_column(sa.Column("struck_at", sa.DateTime))
        changed.add_column(sa.Column("set_up", sa.JSON(none_as_null=True)))
        for name, kind in _PLAIN.items():
            changed.add_column(sa.Column(name, kind))
    op.create_index("ix_attempts_player_id", "attempts", ["player_id", "made_at"])
    op.create_index("ix_attempts_table_id", "attempts", ["table_id", "id"])
    op.create_index("ix_attempts_practice_id", "attempts", ["practice_id"])


def _make_told() -> None:
    op.create_table(
        "changes",
        _number(),
        sa.Column("at", sa.DateTime, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        _to("changes", "attempt_id", "attempts", null=True),
        sa.Column("before", sa.JSON(none_as_null=True)),
        sa.Column("after", sa.JSON(none_as_null=True)),
        sa.Column("undone_at", sa.DateTime),
    )
    op.create_index("ix_changes_attempt_id", "changes", ["attempt_id"])
    op.create_table(
        "events",
        _number(),
        sa.Column("at", sa.DateTime, nullable=False),
        _to("events", "table_id", "tables", null=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("ids", sa.JSON, nullable=False),
    )


def _fill_plain() -> None:
    """The verdicts' figures as columns, as this step's release takes them from the document."""
    connection = op.get_bind()
    attempts = sa.table("attempts", sa.column("id"), *map(sa.column, _PLAIN))
    change = (
        sa.update(attempts)
        .where(attempts.c.id == sa.bindparam("number"))
        .values({name: sa.bindparam(f"of_{name}", type_=kind) for name, kind in _PLAIN.items()})
    )
    # as text, so that a damaged cell is left to the check that names it
    query = sa.text(
        "SELECT a.id, CAST(a.verdict AS TEXT), CAST(i.document AS TEXT), a.offset_along_mm, "
        "a.offset_across_mm FROM attempts a JOIN intents i ON i.id = a.intent_id "
        "WHERE a.id > :last ORDER BY a.id LIMIT :most"
    )
    last = 0
    while rows := connection.execute(query, {"last": last, "most": _AT_ONCE}).all():
        last = rows[-1][0]
        found = [(row[0], _plain_or_none(*row[1:])) for row in rows]
        values = [
            {"number": number} | {f"of_{name}": plain[name] for name in _PLAIN}
            for number, plain in found
            if plain is not None
        ]
        if values:
            connection.execute(change, values)


def _plain_or_none(
    verdict: str, intent: str, along_mm: float | None, across_mm: float | None
) -> dict[str, Any] | None:
    try:
        return _plain(json.loads(verdict), json.loads(intent), along_mm, across_mm)
    except (ValueError, TypeError, AttributeError, LookupError, RecursionError):
        return None


def _plain(
    verdict: dict[str, Any],
    intent: dict[str, Any],
    along_mm: float | None,
    across_mm: float | None,
) -> dict[str, Any]:
    arrival_from = verdict.get("arrival_from")
    if arrival_from is None and verdict.get("arrival") is not None:
        by_route = "route" if intent.get("route_mm") else None
        arrival_from = "video" if verdict["arrival"] == "seen" else by_route
    out = {name: verdict.get(name) for name in _PLAIN}
    if arrival_from is None:
        out |= {"along_mm": None, "across_mm": None}
        along_mm = across_mm = None
    miss, stop, wanted = (
        verdict.get(key) for key in ("miss_vector_mm", "cue_stop_mm", "wanted_mm")
    )
    off_mm = None
    if stop and wanted:
        off_mm = math.dist(stop, wanted)
    elif along_mm is not None and across_mm is not None:
        off_mm = math.hypot(along_mm, across_mm)
    pot = intent.get("pot")
    return out | {
        "called": verdict.get("verdict"),
        "miss_x_mm": miss[0] if miss else None,
        "miss_y_mm": miss[1] if miss else None,
        "stop_x_mm": stop[0] if stop else None,
        "stop_y_mm": stop[1] if stop else None,
        "wanted_x_mm": wanted[0] if wanted else None,
        "wanted_y_mm": wanted[1] if wanted else None,
        "off_wanted_mm": off_mm,
        "arrival_from": arrival_from,
        "left_cut_deg": verdict.get("cut_deg"),
        "left_side": verdict.get("side"),
        "potted_meant": None if pot is None else pot in (verdict.get("potted") or ()),
        "shot": hashlib.sha256(json.dumps(intent, sort_keys=True).encode()).hexdigest(),
    }


def downgrade() -> None:
    """Drop them, last made first; only table 1 and player 1 can be kept."""
    for name in ("events", "changes"):
        op.drop_table(name)
    for name in ("ix_attempts_player_id", "ix_attempts_table_id", "ix_attempts_practice_id"):
        op.drop_index(name, "attempts")
    with op.batch_alter_table("attempts") as changed:
        for name in (*_PLAIN, "set_up", "struck_at", "practice_id", "player_id", "table_id"):
            changed.drop_column(name)
    for name in ("uq_intents_pending", "ix_intents_practice_id"):
        op.drop_index(name, "intents")
    with op.batch_alter_table("intents") as changed:
        for name in ("practice_id", "player_id", "table_id"):
            changed.drop_column(name)
    op.create_index(
        "uq_intents_pending",
        "intents",
        ["state"],
        unique=True,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    )
    for name in ("guides", "layout_tags", "layouts", "practices", "plans"):
        op.drop_table(name)
    for name in ("ix_readings_table_id", "ix_readings_set_id"):
        op.drop_index(name, "readings")
    with op.batch_alter_table("readings") as changed:
        for name in ("outcome", "software", "weights", "set_id", "live", "table_id"):
            changed.drop_column(name)
    for table, names in {
        "stills": ("source", "table_id"),
        "sets": ("table_id",),
        "calibrations": ("camera", "table_id"),
        "player_settings": ("player_id",),
    }.items():
        op.drop_index(f"ix_{table}_{names[-1]}", table)
        with op.batch_alter_table(table) as changed:
            for name in names:
                changed.drop_column(name)
    op.drop_table("tables")
    op.drop_table("players")
    op.create_table(
        "players",
        _number(),
        sa.Column("set_at", sa.DateTime, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
    )
    _move("player_settings", "players")
