"""Paired devices, and codes that still pair."""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from service import clock

from .. import tables as t
from ..records import CodeRecord, DeviceRecord
from .base import Asking

_A_WHILE = timedelta(minutes=1)
"""So far clocks are put right all the time."""


class AskingPaired(Asking):
    """Questions about who is let in."""

    def device(self, number: int) -> DeviceRecord:
        """The device of that number, revoked or not; NotFoundError where there is none."""
        query = sa.select(t.devices).where(t.devices.c.id == number)
        return DeviceRecord(**self._one(query, number, "device", "the list of devices")._asdict())

    def find_device(self, number: int) -> DeviceRecord | None:
        """The device of that number; None where there is none."""
        query = sa.select(t.devices).where(t.devices.c.id == number)
        row = self._connection.execute(query).one_or_none()
        return None if row is None else DeviceRecord(**row._asdict())

    def devices(self, *, revoked: bool = False) -> tuple[DeviceRecord, ...]:
        """Devices that are let in, newest first; ``revoked``: those that no longer are, too."""
        query = sa.select(t.devices)
        if not revoked:
            query = query.where(t.devices.c.revoked_at.is_(None))
        rows = self._newest_first(query, t.devices, limit=None)
        return tuple(DeviceRecord(**row._asdict()) for row in rows)

    def open_codes(self) -> tuple[CodeRecord, ...]:
        """Codes that pair now: not used, not past their time.

        Nor made in time to come: a clock that is put back must not have them last longer.
        """
        code, now = t.pairing_codes.c, clock.now()
        query = sa.select(t.pairing_codes).where(
            code.used_at.is_(None), code.ends_at > now, code.made_at < now + _A_WHILE
        )
        return tuple(CodeRecord(**row._asdict()) for row in self._connection.execute(query))
