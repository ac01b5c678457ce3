"""Devices are paired and revoked."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import sqlalchemy as sa

from service import clock

from .. import tables as t
from ..records import CodeRecord, DeviceRecord
from .base import Writing


class WritingPaired(Writing):
    """Changes to who is let in."""

    def add_device(self, name: str, role: str, token_hash: str) -> DeviceRecord:
        """A device that is let in from now on."""
        number = self._insert(
            t.devices, name=name, role=role, token_hash=token_hash, paired_at=self._now
        )
        return self.device(number)

    def revoke_device(self, number: int) -> DeviceRecord:
        """It is let in no longer; one that was revoked stays so. NotFoundError without it."""
        if self.device(number).revoked_at is None:
            self._change(t.devices, number, revoked_at=self._now)
        return self.device(number)

    def mark_seen(self, seen: Mapping[int, tuple[datetime, str]]) -> None:
        """When devices asked last, and from where."""
        for number, (at, source) in seen.items():
            self._change(t.devices, number, seen_at=at, seen_from=source)

    def add_code(self, code_hash: str, role: str, *, lasts: timedelta) -> CodeRecord:
        """A code that pairs one device; codes past their time go.

        By the clock as it stands, which other processes that make codes see too.
        """
        code, now = t.pairing_codes, clock.now()
        self._connection.execute(sa.delete(code).where(code.c.ends_at <= now))
        ends_at = now + lasts
        number = self._insert(code, code_hash=code_hash, role=role, made_at=now, ends_at=ends_at)
        return CodeRecord(id=number, code_hash=code_hash, role=role, made_at=now, ends_at=ends_at)

    def use_code(self, number: int) -> None:
        """It pairs no other device."""
        self._change(t.pairing_codes, number, used_at=self._now)
