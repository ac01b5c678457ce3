"""Plain columns of many attempts: what statistics are worked out of, no document among it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from .base import Asking, struck_where

_A = t.attempts.c
_SPLIT = {
    name: sa.case((_A.arrival_from.is_not(None), _A[name])).label(name)
    for name in ("offset_along_mm", "offset_across_mm")
}
_COLUMNS: Mapping[str, sa.ColumnElement[Any]] = {
    # as the database has them: nothing but numpy looks at each value
    "at": sa.type_coerce(_A.made_at, sa.Text),
    "called": _A.called,
    "zone_empty": sa.type_coerce(_A.zone_empty, sa.Integer),
    "pot": sa.type_coerce(_A.potted_meant, sa.Integer),
    "scratch": sa.type_coerce(_A.scratch, sa.Integer),
    "miss_mm": _A.miss_mm,
    "off_wanted_mm": _A.off_wanted_mm,
    # verdicts of old were split by a straight line to the wanted spot, which is no arrival
    "offset_along_mm": _SPLIT["offset_along_mm"],
    "offset_across_mm": _SPLIT["offset_across_mm"],
    "arrival": _A.arrival_from,
    "pot_chance": _A.pot_chance,
    "pot_chance_given_up": _A.pot_chance_given_up,
    "travel_mm": _A.travel_mm,
    "cut_deg": _A.cut_deg,
    "rails": _A.rails,
    "spin": _A.spin,
    "side_spin": _A.side_spin,
    "in_a_row": _A.in_a_row,
    "shot": _A.shot,
}


class AskingFigures(Asking):
    """Questions that many attempts answer together."""

    def figures(
        self,
        *,
        player_id: int | None = None,
        table_id: int | None = None,
        practice_id: int | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        newest: int | None = None,
    ) -> dict[str, tuple[Any, ...]]:
        """One sequence a column of the attempts that count, in the order they were played.

        ``since`` belongs to the time, ``until`` does not; ``newest``: only the last so many.
        """
        equal = {"player_id": player_id, "table_id": table_id, "practice_id": practice_id}
        query = sa.select(*(column.label(name) for name, column in _COLUMNS.items())).where(
            struck_where(t.attempts, False),
            *(_A[name] == value for name, value in equal.items() if value is not None),
        )
        if since is not None:
            query = query.where(_A.made_at >= since)
        if until is not None:
            query = query.where(_A.made_at < until)
        if newest is None:
            rows = self._connection.execute(query.order_by(_A.made_at, _A.id)).all()
        else:
            last = query.order_by(_A.made_at.desc(), _A.id.desc()).limit(newest)
            rows = self._connection.execute(last).all()[::-1]
        columns = zip(*rows, strict=True) if rows else ((),) * len(_COLUMNS)
        return dict(zip(_COLUMNS, columns, strict=True))

    def attempts_by_table(self, *, since: datetime) -> dict[int, tuple[int, int]]:
        """How many attempts that count were made since then, and how many ended in the zone, by
        table; those without any are left out."""
        inside = sa.func.sum(sa.case((_A.called == "in", 1), else_=0))
        query = (
            sa.select(_A.table_id, sa.func.count(), inside)
            .where(
                struck_where(t.attempts, False),
                # the index of figures begins with the player
                _A.player_id.in_(sa.select(t.players.c.id)),
                _A.made_at >= since,
            )
            .group_by(_A.table_id)
        )
        rows = self._connection.execute(query)
        return {table: (int(made), int(inside)) for table, made, inside in rows}
