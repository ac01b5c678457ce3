"""Sound documents of every format, what reads them, and a mutator that spoils them."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from api_kit import CALIBRATION

from calibration.kept.bed_picture import BedPicture
from calibration.kept.calibration import Calibration, Residual
from calibration.kept.rail_marks import HALF_SAMPLES, RailMark
from calibration.lens.board import BoardPattern
from calibration.lens.file import BoardStill, Lens
from calibration.notices import Notice
from calibration.seen.points import GivenPoint, points_to_dict, read_points
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.meant.player_file import read_player
from service.position.verdict.verdict import Verdict
from service.practice.notes import Note
from service.practice.plan import Plan
from vision.layout import Ball, Layout
from vision.name.corrected import Correction
from vision.name.taught import Look, Taught
from vision.networks import crops_fingerprint
from vision.truth.file import TRUTH_FILE, read_truth

LAYOUT = Layout(
    still="a.jpg",
    surface_mm=(2540.0, 1270.0),
    balls=(
        Ball(id="cue", x_mm=500.0, y_mm=600.0, cov_mm2=((0.2, 0.01), (0.01, 0.3))),
        Ball(
            id="3", x_mm=900.0, y_mm=300.0, confidence=0.6, doubtful=True,
            runners_up=(("11", 0.3), ("5", 0.1)), look=(("3", 0.6), ("11", 0.3)), said=True,
        ),
    ),
    notices=(
        Notice(code="names-doubt", text="In doubt.", fields={"places_mm": [[900.0, 300.0]]}),
    ),
)  # fmt: skip
INTENT = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [10, 40], "side": "left", "distance_mm": [200, None], "cushion_mm": 60,
    "route_mm": [[900, 300], [1200, 1200]], "zone": {"circle_mm": [1000, 600, 150]},
}  # fmt: skip
NOTE = {"spin": "draw", "side_spin": "left", "rails": 2, "in_a_row": None}
VERDICT = Verdict(
    verdict="out", p_in=0.1, miss_mm=40.0, miss_vector_mm=(3.0, -4.0), cue_stop_mm=(900.0, 400.0),
    potted=("3",), frozen=False, pot_chance=0.5,
)  # fmt: skip


def _calibration() -> Calibration:
    mark = RailMark(
        name="left-1", kind="sight", at_mm=(317.5, -93.7, 44.0), across=(0.0, 1.0),
        channel="green", profile=tuple(float(v) for v in range(2 * HALF_SAMPLES + 1)),
    )  # fmt: skip
    picture = np.full((1080, 1920, 3), 90, np.uint8)
    return replace(
        CALIBRATION,
        residuals=(
            Residual(
                name="left-1", kind="sight", off_px=0.1, off_mm=0.1, sigma_px=0.2, weight=1.0
            ),
        ),
        rail_marks=(mark,),
        bed_picture=BedPicture.of(picture, CALIBRATION.camera, CALIBRATION.table),
        notices=(Notice(code="odd", text="w", fields={"off_mm": 1.0}),),
    )  # fmt: skip


def _lens() -> Lens:
    exact = Lens.exact(CALIBRATION.camera)
    stills = (BoardStill(name="b.jpg", used=True, corners=54, edge_px=2.0, rms_px=0.1),)
    return replace(exact, board=BoardPattern(), stills=stills, coverage_by_region=(0.5, 1.0))


def _set() -> dict[str, Any]:
    looks = tuple(Look(id=name, chance=0.9, embedding=(1.0, -2.5)) for name in ("cue", "3"))
    return Taught(network=crops_fingerprint(), looks=looks).to_dict()


def _truth() -> dict[str, Any]:
    entry = {
        "camera": CALIBRATION.camera.to_dict(),
        "table": CALIBRATION.table.to_dict(),
        "head": "left",
        "balls": [{"id": "cue", "x_mm": 100.0, "y_mm": 200.0, "visible": 0.9}],
        "scene": {"cloth": "green"},
    }
    return {"format": "restmark-truth", "version": 1, "stills": {"a.jpg": entry}}


def _read_truth(path: Path) -> Any:
    path.rename(path.with_name(TRUTH_FILE))
    return read_truth(path.parent)


@dataclass(frozen=True)
class Kind:
    """A format: a sound document, and how a file of it becomes a value and an object again."""

    document: Any
    read: Callable[[Path], Any]
    back: Callable[[Any], Any] = lambda value: value.to_dict()
    again: Callable[[Any], Any] | None = None


def _of(make: Callable[[Any], Any]) -> Callable[[Path], Any]:
    return lambda path: make(json.loads(path.read_text(encoding="utf-8")))


KINDS: dict[str, Kind] = {
    "table": Kind(_calibration().to_dict(), Calibration.read, again=Calibration.from_dict),
    "lens": Kind(_lens().to_dict(), Lens.read, again=Lens.from_dict),
    "set": Kind(_set(), Taught.read, again=Taught.from_dict),
    "layout": Kind(LAYOUT.to_dict(), Layout.read, again=Layout.from_dict),
    "intent": Kind(INTENT, Intent.read, again=Intent.from_dict),
    "plan": Kind(
        {"shots": [INTENT, None], "notes": [NOTE, None], "in_a_row": 3},
        Plan.read,
        again=Plan.from_dict,
    ),
    "player": Kind(
        {"format": "restmark-player", "version": 1, **Player().to_dict()},
        read_player,
        again=Player.from_dict,
    ),
    "points": Kind(
        points_to_dict(
            [
                GivenPoint(name="left-3", seen_px=(100.0, 200.0)),
                GivenPoint(place_mm=(100.0, 200.0, 0.0), seen_px=(300.0, 300.0)),
            ]
        ),
        read_points,
        back=points_to_dict,
    ),
    "truth": Kind(_truth(), _read_truth, back=lambda value: None),
    "note": Kind(NOTE, _of(Note.from_dict), again=Note.from_dict),
    "correction": Kind(
        {"id": "3", "x_mm": 1.0, "y_mm": 2.0},
        _of(Correction.from_dict),
        again=Correction.from_dict,
    ),
    "verdict": Kind(VERDICT.to_dict(), _of(Verdict.from_dict), again=Verdict.from_dict),
}
IN_REQUESTS = ("note", "correction", "verdict")
"""Kinds that stand in requests and in the store alone."""
STRANGE: tuple[Any, ...] = (
    None, True, False, 0, -1, 7, 1e308, -1e308, 1e-320, 10**30, 10**400, "", "12", "x", "\u0000",
    "cue", [], [1], [1, 2, 3], [[1, 2], [3, 4]], {}, {"a": 1}, "\U0001f3b1" * 50, [None],
    [True, True],
)  # fmt: skip


def _places(node: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = list(node) if isinstance(node, dict) else range(len(node)) if _listed(node) else ()
    inner = [place for key in keys for place in _places(node[key], (*way, key))]
    return [*([way] if way else []), *inner]


def _listed(node: Any) -> bool:
    return isinstance(node, list)


def spoilt(document: Any, chance: random.Random) -> Any:
    """The document with one or two of its values gone, renamed or of another kind."""
    out = copy.deepcopy(document)
    for _ in range(chance.randint(1, 2)):
        places = _places(out)
        if not places:  # nothing is left to spoil
            break
        *way, last = chance.choice(places)
        node = out
        for key in way:
            node = node[key]
        act = chance.randrange(5)
        old = node[last] if last in node or _listed(node) else None
        if act == 0:
            del node[last]
        elif act == 1 and type(old) in (int, float) and abs(old) < 1e9:
            node[last] = chance.choice((-old, old * 1000, old + 0.5, str(old), -1e9))
        elif act == 2 and _listed(node):
            node.append(copy.deepcopy(chance.choice(STRANGE)))
        elif act == 3 and isinstance(node, dict):
            node[f"{last}x"] = node.pop(last)
        else:
            node[last] = copy.deepcopy(chance.choice(STRANGE))
    return out
