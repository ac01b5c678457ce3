"""The twelve single stills of other rooms: which seed, table, balls and hindrance each has."""

from __future__ import annotations

from dataclasses import dataclass

from vision.training.scenes.describe.room import Scene, draw_room, draw_scene


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherStill:
    """One still: the room's seed and what it shows."""

    seed: int
    surface: str
    style: str
    count: int
    obstructed: bool = False


OTHER_STILLS: tuple[OtherStill, ...] = (
    OtherStill(seed=41102, surface="9ft", style="scatter", count=10),
    OtherStill(seed=41106, surface="8ft", style="rack", count=16),
    OtherStill(seed=41123, surface="7ft", style="scatter", count=8),
    OtherStill(seed=41163, surface="pro8", style="cluster", count=12),
    OtherStill(seed=41178, surface="9ft", style="scatter", count=13, obstructed=True),
    OtherStill(seed=41234, surface="9ft", style="cluster", count=9),
    OtherStill(seed=41266, surface="7ft", style="scatter", count=15),
    OtherStill(seed=41462, surface="8ft", style="scatter", count=6, obstructed=True),
    OtherStill(seed=41471, surface="9ft", style="scatter", count=16),
    OtherStill(seed=41498, surface="pro8", style="scatter", count=11),
    OtherStill(seed=41604, surface="9ft", style="cluster", count=7, obstructed=True),
    OtherStill(seed=41616, surface="8ft", style="scatter", count=14),
)


def other_scene(still: OtherStill) -> Scene:
    """The scene of one of the twelve."""
    room = draw_room(still.seed, tilt_limit_deg=25.0, surface=still.surface)
    return draw_scene(
        room, 1, count=still.count, style=still.style, obstructed=still.obstructed, clutter=0.8
    )
