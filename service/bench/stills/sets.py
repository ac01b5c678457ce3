"""Sets of colours of their own: how often they are noticed, and their names once taught.

``python -m service.bench.stills.sets DIR`` reads rendered stills of ``python -m
vision.training.dataset --set odd-sets``, each by its true calibration. A room's stills show one
set; the first two teach it, by their true names.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from vision.known.teaching import teach_still
from vision.layout import Ball, Layout
from vision.name.taught import Taught
from vision.name.unusual import cost_of, unusual
from vision.read import Reader
from vision.truth.measure import Matched, match_layout, summary

from .readings import BenchStill, bench_stills

GROUPS = ("usual", "some strange", "all strange")
ALL = 7
"""Paints of a set beside the eight's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One set's stills, in order."""

    strange: int
    stills: tuple[BenchStill, ...]

    @property
    def group(self) -> str:
        """One of ``GROUPS``."""
        return GROUPS[0 if not self.strange else 2 if self.strange == ALL else 1]


def rooms_of(folder: Path) -> list[Room]:
    """The rooms of a folder: stills NUMBER-K.jpg of one truth file."""
    found: dict[str, list[BenchStill]] = defaultdict(list)
    for still in sorted(bench_stills(folder), key=lambda each: each.path):
        found[still.path.stem.rsplit("-", 1)[0]].append(still)
    return [
        Room(
            strange=int(stills[0].truth.scene["ball_set"]["strange"]),
            stills=tuple(stills),
        )
        for stills in found.values()
    ]


def sets_figures(folder: Path) -> dict[str, Any]:
    """Noticed sets and names, group by group; plain JSON."""
    told: dict[str, list[dict[str, Any]]] = {group: [] for group in GROUPS}
    for room in rooms_of(folder):
        told[room.group].append(_room_told(room))
    return {group: _together(rooms) for group, rooms in told.items() if rooms}


def _room_told(room: Room) -> dict[str, Any]:
    """What the readings of one room come to."""
    plain = [_read(still) for still in room.stills]
    taught: list[Taught] = []
    for still in room.stills[:2]:
        before = taught[-1] if taught else None
        data = still.path.read_bytes()
        taught.append(teach_still(data, still.calibration, _true(still), taught=before))
    later = room.stills[2:] or room.stills[1:]
    return {
        "noticed": [bool(layout.unlike) for layout in plain],
        "together": unusual([replace(layout, unlike=()) for layout in plain]) is not None,
        "cost": [cost_of(layout) for layout in plain],
        "names": {
            "untaught": [_matched(still, _read(still)) for still in later],
            "taught from one": [_matched(still, _read(still, taught[0])) for still in later],
            "taught from two": [_matched(still, _read(still, taught[-1])) for still in later],
        },
        "noticed_after": [bool(_read(still, taught[0]).unlike) for still in later],
    }


def _read(still: BenchStill, taught: Taught | None = None) -> Layout:
    return Reader(still.calibration, taught=taught).read_still(still.path.read_bytes())


def _matched(still: BenchStill, layout: Layout) -> Matched:
    return match_layout(layout, still.truth.balls)


def _true(still: BenchStill) -> Layout:
    """The true layout of what is seen well enough to teach by."""
    balls = tuple(
        Ball(id=ball.id, x_mm=ball.x_mm, y_mm=ball.y_mm)
        for ball in still.truth.balls
        if ball.visible >= TEACHING
    )
    return Layout(still="truth", surface_mm=still.truth.table.surface_mm, balls=balls)


TEACHING = 0.8
"""Balls at least this visible are taught."""


def _together(rooms: Sequence[dict[str, Any]]) -> dict[str, Any]:
    stills = [each for room in rooms for each in room["noticed"]]
    after = [each for room in rooms for each in room["noticed_after"]]
    names = {}
    for how in rooms[0]["names"]:
        figures = summary([each for room in rooms for each in room["names"][how]])
        names[how] = {
            "balls": figures.balls - figures.missed,
            "right": figures.names_right,
            "wrong": figures.wrong_names,
            "undoubted_wrong": figures.wrong_names_undoubted,
            "doubtful": figures.doubtful,
        }
    return {
        "rooms": len(rooms),
        "stills": len(stills),
        "stills_noticed": sum(stills),
        "rooms_noticed_together": sum(room["together"] for room in rooms),
        "cost": sorted(round(each, 2) for room in rooms for each in room["cost"]),
        "noticed_after_teaching": f"{sum(after)} of {len(after)}",
        "names": names,
    }


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    given = parser.parse_args(arguments)
    print(json.dumps(sets_figures(given.folder), indent=1))


if __name__ == "__main__":
    main()
