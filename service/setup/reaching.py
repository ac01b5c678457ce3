"""A player's reach learned from places where the cue ball can just still be played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.table import Table
from service.position import Player
from service.position.meant.player_file import player_document
from service.position.plan.reach_map import ReachMap, learned_reach
from vision.layout import Layout

from .refusals import SetupError

MOST_PLACES = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One just reachable place: what lies on the table, and how it would be played."""

    layout: Layout
    bridge: bool = False
    """With the mechanical bridge."""
    side: str | None = None
    """``back``, ``body_side`` or ``off_side`` where the place shows that one alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What the places tell, and the player's settings that follow; nothing is set yet."""

    player: Player
    maps: tuple[ReachMap, ...]
    places: int

    def to_dict(self) -> dict[str, Any]:
        """JSON object; ``player`` is what PUT /player takes."""
        mapped = {name for found in self.maps for name in found.mapped}
        assumed = sorted({name for found in self.maps for name in found.assumed} - mapped)
        return {
            "places": self.places,
            "mapped": {name: getattr(self.player, name) for name in sorted(mapped)},
            "assumed": {name: getattr(self.player, name) for name in assumed},
            "residuals_mm": [value for found in self.maps for value in found.residuals_mm],
            "player": player_document(self.player),
        }


def learn(
    places: Sequence[Place], table: Table, player: Player, handedness: str | None = None
) -> Reach:
    """The reach by hand and with the bridge from places of both kinds.

    Raises:
        SetupError: there are no places, or too many.
        PlayerError: code ``reach-places``: a still shows no such place, or they contradict.
    """
    if not 0 < len(places) <= MOST_PLACES:
        raise SetupError(
            f"reach: got {len(places)} places; allowed: 1 to {MOST_PLACES}. Put the cue ball where "
            "you can just still play it and take a still."
        )
    who = player if handedness is None else replace(player, handedness=handedness)
    maps = []
    ways = dict.fromkeys((place.bridge, place.side) for place in places)
    for bridge, side in ways:
        layouts = [place.layout for place in places if (place.bridge, place.side) == (bridge, side)]
        found = learned_reach(layouts, table, who, bridge=bridge, side=side)
        maps.append(found)
        who = found.player
    return Reach(player=who, maps=tuple(maps), places=len(places))
