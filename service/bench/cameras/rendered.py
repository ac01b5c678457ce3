"""Rendered pairs of stills: each camera alone and both joined, against the truth.

Stills are those of ``python -m vision.training.dataset --set pairs``: NUMBER-WHAT-CAMERA.jpg beside
``truth.json``. Each camera is calibrated from its own empty still, with its lens known.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Polygon, union_all

from calibration.errors import CalibrationError
from calibration.from_still import calibrate
from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from calibration.solve.known import NAMED_ERROR_MM, Known
from service.demo.trial import Track, untracked
from vision.join.together import join_views
from vision.join.view import View
from vision.layout import Layout
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import TruthStill, read_truth
from vision.truth.measure import Matched, match_layout, summary

JOINED = "joined"
EMPTY, KNOCKED = "empty", "knocked"


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRoom:
    """One room's stills by what they show and by whom."""

    number: str
    folder: Path
    stills: Mapping[str, Mapping[str, TruthStill]]
    """What (``empty``, ``1``, …, ``knocked``) → camera → still."""

    def data(self, still: TruthStill) -> bytes:
        """The still's file."""
        return (self.folder / still.name).read_bytes()

    def calibrations(self) -> dict[str, Calibration]:
        """Each camera's, from its empty still."""
        out = {}
        for name, still in self.stills[EMPTY].items():
            picture = decode_still(self.data(still), name=still.name)
            known = Known(lens=Lens.exact(still.camera), surface_error_mm=NAMED_ERROR_MM)
            out[name] = calibrate(picture, still.table, still.head, known)
        return out

    @property
    def moments(self) -> list[str]:
        """What shows balls to all cameras, in order."""
        return sorted(
            what for what, by in self.stills.items() if what not in (EMPTY, KNOCKED) and len(by) > 1
        )


def pair_rooms(folder: Path) -> list[PairRoom]:
    """The rooms of a folder of rendered pairs that are there whole."""
    found: dict[str, dict[str, dict[str, TruthStill]]] = defaultdict(lambda: defaultdict(dict))
    for name, still in read_truth(folder).items():
        number, what, camera = Path(name).stem.split("-")
        found[number][what][camera] = still
    return [
        PairRoom(number=number, folder=folder, stills=stills)
        for number, stills in sorted(found.items())
        if len(stills.get(EMPTY, {})) > 1
    ]


def read_view(reader: Reader, name: str, data: bytes, still: str) -> View:
    """One camera's view of a moment, each read afresh."""
    layout = reader.read_still(data, name=still, afresh=True)
    return View(name, layout, reader.calibration, corrected=reader.last_calibration)


def rendered_figures(folder: Path, *, track: Track = untracked) -> dict[str, Any]:
    """Accuracy by each camera and joined, blind shares, and how a knocked camera was told."""
    matched: dict[str, list[Matched]] = defaultdict(list)
    both: dict[str, list[Matched]] = defaultdict(list)
    blind: dict[str, list[float]] = defaultdict(list)
    knocks: list[str] = []
    codes: dict[str, int] = defaultdict(int)
    for room in track(pair_rooms(folder), "reading pairs"):
        readers = {name: Reader(made) for name, made in room.calibrations().items()}
        previous: Layout | None = None
        for what in room.moments:
            stills = room.stills[what]
            views = [
                read_view(readers[name], name, room.data(still), still.name)
                for name, still in stills.items()
            ]
            joined = join_views(views, previous=previous)
            for notice in joined.notices:
                codes[notice.code] += 1
            balls = next(iter(stills.values())).balls
            for name, layout in _by_name(views, joined):
                matched[name].append(match_layout(layout, balls))
                both[name].append(_of(matched[name][-1], joined))
                blind[name].append(hidden_share(layout))
            previous = joined
        if KNOCKED in room.stills:
            knocks.append(_knock_told(room, readers, previous))
    names = list(matched)
    return {
        "rooms": len(pair_rooms(folder)),
        "moments": len(matched[JOINED]),
        "accuracy": {name: summary(matched[name]).to_dict() for name in names},
        "rms_mm_where_both_see": {name: rms_mm(both[name]) for name in names},
        "gain_where_both_see": gain({name: rms_mm(both[name]) for name in names}),
        "blind_share": {name: float(np.mean(blind[name])) for name in names},
        "knocked": knocks,
        "notices": dict(codes),
    }


def rms_mm(matches: Sequence[Matched]) -> float:
    """Root of the mean squared distance of all found balls."""
    every = [pair.distance_mm**2 for matched in matches for pair in matched.pairs]
    return math.sqrt(float(np.mean(every))) if every else math.nan


def gain(rms: Mapping[str, float]) -> float:
    """By how much the joined places are better than one camera's, in the mean of squares."""
    alone = [value for name, value in rms.items() if name != JOINED]
    return math.sqrt(float(np.mean(np.square(alone)))) / rms[JOINED]


def hidden_share(layout: Layout) -> float:
    """Share of the bed in which a ball could lie unseen."""
    whole = union_all([Polygon(corners).buffer(0) for corners in layout.hidden_mm])
    return float(whole.area / math.prod(layout.surface_mm))


def _by_name(views: Sequence[View], joined: Layout) -> list[tuple[str, Layout]]:
    return [*((view.camera, view.layout) for view in views), (JOINED, joined)]


def _of(matched: Matched, joined: Layout) -> Matched:
    """The pairs of those balls that several cameras see."""
    shared = [ball.centre_mm for ball in joined.balls if len(ball.seen_by) > 1]
    pairs = tuple(
        pair
        for pair in matched.pairs
        if any(math.dist((pair.truth.x_mm, pair.truth.y_mm), at) < 20 for at in shared)
    )
    return Matched(still=matched.still, pairs=pairs, missed=(), invented=())


def _knock_told(room: PairRoom, readers: Mapping[str, Reader], previous: Layout | None) -> str:
    """What is said of the moment after one camera was knocked: by its rails, or by the other."""
    what = room.moments[-1]
    told = []
    for rails in (True, False):
        views, away = [], {}
        for name, still in room.stills[what].items():
            shown = room.stills[KNOCKED].get(name, still)
            reader = readers[name]
            if not rails:
                made = reader.calibration
                reader = Reader(_blindfold(made))
            try:
                views.append(read_view(reader, name, room.data(shown), shown.name))
            except CalibrationError as refused:
                away[name] = refused
        joined = join_views(views, away=away, previous=previous)
        how = "with rails" if rails else "without"
        said = [
            f"{notice.code} {notice.fields.get('camera', '')}"
            for notice in joined.notices
            if notice.code in ("moved", "camera-moved", "cameras-apart", "camera-away")
        ]
        told.append(f"{how}: {', '.join(said) or 'nothing'}")
    return f"{room.number}: {'; '.join(told)}"


def _blindfold(made: Calibration) -> Calibration:
    """The calibration without what it knows of the rails."""
    return replace(made, rail_marks=())
