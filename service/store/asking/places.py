"""Tables and players, and what is known of each."""

from __future__ import annotations

import sqlalchemy as sa

from .. import tables as t
from ..records import (
    FIRST,
    OVERHEAD,
    CalibrationRecord,
    GuideRecord,
    PlayerRecord,
    SetRecord,
    SettingsRecord,
    TableRecord,
    WatchRecord,
)
from ..rows import Row, layout_of
from .base import Asking

_NAMED = [column for column in t.calibrations.c if column is not t.calibrations.c.document]


class AskingPlaces(Asking):
    """Questions about tables, players, calibrations, ball sets and guides."""

    def table(self, number: int = FIRST) -> TableRecord:
        """The table of that number; NotFoundError where there is none."""
        query = sa.select(t.tables).where(t.tables.c.id == number)
        return TableRecord(**self._one(query, number, "table", "the list of tables")._asdict())

    def tables(self, *, limit: int, before: int | None = None) -> tuple[TableRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        rows = self._newest_first(sa.select(t.tables), t.tables, limit=limit, before=before)
        return tuple(TableRecord(**row._asdict()) for row in rows)

    def tables_calibrated(self) -> dict[int, bool]:
        """Whether a calibration of its overhead camera holds, by table."""
        held = sa.exists().where(
            t.calibrations.c.table_id == t.tables.c.id, t.calibrations.c.camera == OVERHEAD
        )
        rows = self._connection.execute(sa.select(t.tables.c.id, held).order_by(t.tables.c.id))
        return {row[0]: bool(row[1]) for row in rows}

    def player(self, number: int) -> PlayerRecord:
        """The player of that number; NotFoundError where there is none."""
        query = sa.select(t.players).where(t.players.c.id == number)
        return PlayerRecord(**self._one(query, number, "player", "the list of players")._asdict())

    def player_at(self, table_id: int = FIRST) -> PlayerRecord:
        """Who plays at that table now."""
        return self.player(self.table(table_id).player_id)

    def players(self, *, limit: int, before: int | None = None) -> tuple[PlayerRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        rows = self._newest_first(sa.select(t.players), t.players, limit=limit, before=before)
        return tuple(PlayerRecord(**row._asdict()) for row in rows)

    def settings(self, player_id: int) -> SettingsRecord | None:
        """The settings that were given last for that player; None where nobody gave any."""
        query = sa.select(t.player_settings).where(t.player_settings.c.player_id == player_id)
        row = self._newest(query, t.player_settings)
        return SettingsRecord(**row._asdict()) if row else None

    def settings_at(self, table_id: int = FIRST) -> SettingsRecord | None:
        """The same for whoever plays at that table now."""
        return self.settings(self.table(table_id).player_id)

    def calibration(
        self, number: int | None = None, *, table_id: int = FIRST, camera: str = OVERHEAD
    ) -> CalibrationRecord | None:
        """The calibration of that number, or the one that holds now; None where none does."""
        query = sa.select(*_NAMED)
        if number is not None:
            query = query.where(t.calibrations.c.id == number)
        else:
            query = query.where(
                t.calibrations.c.table_id == table_id, t.calibrations.c.camera == camera
            )
        row = self._newest(query, t.calibrations)
        # by number it is found for good
        if row is None or (number is None and row.ended_at is not None):
            return None
        return self._calibration_of(row)

    def calibrations_held(self, table_id: int = FIRST) -> dict[str, CalibrationRecord]:
        """The calibration that holds of each of a table's cameras, the overhead one first."""
        newest = (
            sa.select(sa.func.max(t.calibrations.c.id))
            .where(t.calibrations.c.table_id == table_id)
            .group_by(t.calibrations.c.camera)
        )
        rows = self._connection.execute(
            sa.select(*_NAMED).where(
                t.calibrations.c.id.in_(newest), t.calibrations.c.ended_at.is_(None)
            )
        )
        held = {row.camera: self._calibration_of(row) for row in rows.all()}
        return dict(sorted(held.items(), key=lambda item: (item[0] != OVERHEAD, item[0])))

    def _calibration_of(self, named: Row) -> CalibrationRecord:
        """The whole record, by all of it but its document."""
        document = sa.select(t.calibrations.c.document).where(t.calibrations.c.id == named.id)

        def fetch() -> CalibrationRecord:
            held = self._connection.execute(document).scalar_one()
            return CalibrationRecord(**named._asdict(), document=held)

        return self._known.record(tuple(named), fetch)

    def calibrations(
        self,
        *,
        limit: int,
        before: int | None = None,
        table_id: int | None = None,
        camera: str | None = None,
    ) -> tuple[CalibrationRecord, ...]:
        """Newest first, at most ``limit``; None: of every table, of every camera."""
        rows = self._newest_first(
            sa.select(t.calibrations),
            t.calibrations,
            limit=limit,
            before=before,
            table_id=table_id,
            camera=camera,
        )
        return tuple(CalibrationRecord(**row._asdict()) for row in rows)

    def ball_set(self, table_id: int = FIRST) -> SetRecord | None:
        """The set that was given last for that table; None before the first."""
        row = self._newest(sa.select(t.sets).where(t.sets.c.table_id == table_id), t.sets)
        return SetRecord(**row._asdict()) if row else None

    def watches(self) -> tuple[WatchRecord, ...]:
        """What is to be watched, table by table and camera by camera."""
        rows = self._connection.execute(
            sa.select(t.watches).order_by(t.watches.c.table_id, t.watches.c.camera)
        )
        return tuple(WatchRecord(**row._asdict()) for row in rows)

    def guide(self, table_id: int = FIRST) -> GuideRecord | None:
        """The layout that is to be set up at that table; None where none is."""
        row = self._connection.execute(
            sa.select(t.guides).where(t.guides.c.table_id == table_id)
        ).one_or_none()
        if row is None:
            return None
        layout = layout_of(row.layout, f"guides[{row.table_id}].layout")
        return GuideRecord(**{**row._asdict(), "layout": layout})
