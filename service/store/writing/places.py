"""Tables and players, and what becomes known of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from vision.layout import Layout

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
)
from .base import Writing


class WritingPlaces(Writing):
    """Changes to tables, players, calibrations, ball sets and guides."""

    def withdraw_intent(self, table_id: int = FIRST) -> bool:
        """Whether an intent was pending at that table; it is no longer."""
        done = self._connection.execute(
            sa.update(t.intents)
            .where(t.intents.c.state == "pending", t.intents.c.table_id == table_id)
            .values(state="withdrawn")
        )
        return done.rowcount > 0

    def add_table(self, name: str, *, player_id: int = FIRST) -> TableRecord:
        """Another table; NotFoundError where there is no such player."""
        self.player(player_id)
        number = self._insert(t.tables, name=name, player_id=player_id, made_at=self._now)
        return self.table(number)

    def change_table(
        self, number: int, *, name: str | None = None, player_id: int | None = None
    ) -> TableRecord:
        """Another name, or another player at it; None leaves it. NotFoundError as above."""
        held = self.table(number)
        if player_id is not None:
            self.player(player_id)
        self._change(
            t.tables,
            number,
            name=held.name if name is None else name,
            player_id=held.player_id if player_id is None else player_id,
        )
        return self.table(number)

    def add_player(self, name: str) -> PlayerRecord:
        """Another player, with nothing but starting values."""
        return self.player(self._insert(t.players, name=name, made_at=self._now))

    def rename_player(self, number: int, name: str) -> PlayerRecord:
        """Another name; NotFoundError where there is no such player."""
        self.player(number)
        self._change(t.players, number, name=name)
        return self.player(number)

    def add_settings(
        self, document: Mapping[str, Any], *, player_id: int = FIRST
    ) -> SettingsRecord:
        """The player's settings from now on; NotFoundError where there is no such player."""
        self.player(player_id)
        number = self._insert(
            t.player_settings, player_id=player_id, set_at=self._now, document=dict(document)
        )
        return SettingsRecord(id=number, player_id=player_id, set_at=self._now, document=document)

    def add_calibration(
        self, document: Mapping[str, Any], *, table_id: int = FIRST, camera: str = OVERHEAD
    ) -> CalibrationRecord:
        """A new version, which holds from now on; an intent from the old frame is withdrawn.

        The frame is the overhead camera's; another one only looks at it.
        """
        self.table(table_id)
        if camera == OVERHEAD:
            self.withdraw_intent(table_id)
        number = self._insert(
            t.calibrations,
            table_id=table_id,
            camera=camera,
            set_at=self._now,
            document=dict(document),
        )
        return CalibrationRecord(
            id=number, table_id=table_id, camera=camera, set_at=self._now, document=document
        )

    def end_calibration(self, number: int) -> None:
        """Its camera was taken away: it holds no longer, and readings go on naming it."""
        self._connection.execute(
            sa.update(t.calibrations)
            .where(t.calibrations.c.id == number)
            .values(ended_at=self._now)
        )

    def add_set(self, document: Mapping[str, Any], *, table_id: int = FIRST) -> SetRecord:
        """A taught set, which holds from now on; corrections before it no longer count."""
        number = self._insert(
            t.sets, table_id=table_id, taught_at=self._now, document=dict(document)
        )
        return SetRecord(id=number, table_id=table_id, taught_at=self._now, document=document)

    def keep_watch(self, table_id: int, source: str, camera: str = OVERHEAD) -> None:
        """That source is watched as that camera from now on, in place of another."""
        self.table(table_id)
        self.drop_watch(table_id, camera)
        self._connection.execute(
            sa.insert(t.watches).values(
                table_id=table_id, set_at=self._now, source=source, camera=camera
            )
        )

    def drop_watch(self, table_id: int, camera: str = OVERHEAD) -> None:
        """Nothing is watched as that camera of that table."""
        self._connection.execute(
            sa.delete(t.watches).where(
                t.watches.c.table_id == table_id, t.watches.c.camera == camera
            )
        )

    def set_guide(
        self,
        layout: Layout,
        *,
        tolerance_mm: float,
        layout_id: int | None = None,
        table_id: int = FIRST,
    ) -> GuideRecord:
        """The layout that is to be set up at that table, in place of an earlier one."""
        self.table(table_id)
        if layout_id is not None:
            self.layout(layout_id)
        self.drop_guide(table_id)
        self._connection.execute(
            sa.insert(t.guides).values(
                table_id=table_id,
                set_at=self._now,
                layout=layout.to_dict(),
                layout_id=layout_id,
                tolerance_mm=tolerance_mm,
            )
        )
        return GuideRecord(
            table_id=table_id,
            set_at=self._now,
            layout=layout,
            layout_id=layout_id,
            tolerance_mm=tolerance_mm,
        )

    def drop_guide(self, table_id: int = FIRST) -> bool:
        """Whether a layout was to be set up at that table; it is no longer."""
        done = self._connection.execute(sa.delete(t.guides).where(t.guides.c.table_id == table_id))
        return done.rowcount > 0
