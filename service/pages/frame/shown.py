"""What a reader chose for this screen; their browser keeps it and sends it with every request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

from fastapi import Request

from service.door import Role
from service.door.carried import device_of
from service.words.lengths import Units

UNITS_COOKIE = "restmark-units"
LOOK_COOKIE = "restmark-look"
TURN_COOKIE = "restmark-turn"
SHAPE_COOKIE = "restmark-shape"
"""Names of the cookies; ``static/base/screen.js`` sets them."""
_UPRIGHT_PX, _LYING_PX, _LOW_PX = 400, 960, 520
MOST_TABLES = 1_000_000

E = TypeVar("E", bound=StrEnum)


class Look(StrEnum):
    """Colours of the pages; ``device`` leaves them to the device's own setting."""

    DEVICE = "device"
    LIGHT = "light"
    DARK = "dark"
    CONTRAST = "contrast"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """How this reader wants to see things, and which table."""

    units: Units = Units.MM
    look: Look = Look.DEVICE
    turn: int | None = None
    """Quarter turns of the table, 0 to 3; None: the screen decides."""
    is_tall: bool = False
    """Whether the screen is a phone held upright: the table stands on it, so that it is large."""
    is_low: bool = False
    """Whether the screen is a phone that lies on its side: the table on it is small."""
    table: int = 1
    """The table's number, by the address's ``table``."""
    role: Role = Role.OWNER
    """What the device that asks may do; where this machine alone is served, everything."""

    @property
    def quarter_turns(self) -> int:
        """How the table is drawn: as chosen, else lying, or standing on a tall screen."""
        return self.turn if self.turn is not None else int(self.is_tall)

    @property
    def lettered_px(self) -> int:
        """The width that the table's drawing is lettered for: its words stay readable on it."""
        if self.quarter_turns % 2:
            return _UPRIGHT_PX
        return _LOW_PX if self.is_low else _LYING_PX

    def to(self, address: str) -> str:
        """The address of another page of this site, for the same table."""
        if self.table == 1:
            return address
        page, hash_mark, part = address.partition("#")
        joint = "&" if "?" in page else "?"
        return f"{page}{joint}table={self.table}{hash_mark}{part}"


def shown_of(request: Request, units: Units) -> Shown:
    """What the browser keeps as chosen; whatever else stands there is no choice."""
    turn = request.cookies.get(TURN_COOKIE, "")
    table = request.query_params.get("table", "")
    device = device_of(request)
    return Shown(
        units=_choice(Units, request.cookies, UNITS_COOKIE, units),
        look=_choice(Look, request.cookies, LOOK_COOKIE, Look.DEVICE),
        turn=int(turn) if turn in ("0", "1", "2", "3") else None,
        is_tall=request.cookies.get(SHAPE_COOKIE) == "tall",
        is_low=request.cookies.get(SHAPE_COOKIE) == "low",
        table=_number(table),
        role=Role.OWNER if device is None else Role(device.role),
    )


def _choice(kind: type[E], cookies: Mapping[str, str], name: str, default: E) -> E:
    try:
        return kind(cookies.get(name, default))
    except ValueError:
        return default


def _number(text: str) -> int:
    """A table's number; 1 where the address names none that could be."""
    if not (text.isascii() and text.isdecimal() and len(text) < len(str(MOST_TABLES))):
        return 1
    return max(int(text), 1)
