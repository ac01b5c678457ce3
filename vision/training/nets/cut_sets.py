"""Cuts the networks' training sets from rendered stills: views for the finder, crops of balls.

``python -m vision.training.nets.cut_sets --stills DIR… --out DIR --workers 16``

Every folder given holds stills with their truth, or stills of one's own as ``restmark
export-stills`` writes them, whose places are readings. The finder's set is laid out as its trainer
wants it: a picture and a text file of boxes for each still. Crops go into one array file a room
folder, wider and finer than the network's own crops, so that training can shift and turn them.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, Table
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.layout import BALL_IDS
from vision.place.crops import CropFrames, cut_crops
from vision.truth.file import EXACT, READ

STORED_SIDE, STORED_STEP_MM = 128, 0.75
"""Stored crops: 96 mm wide, twice as fine as the network's."""
LEAST_VISIBLE = 0.25
"""Balls that show less are left out: nobody could place them."""
START_SIGMA_MM, START_LIMIT_MM = 2.5, 7.0
NAME_TRUST = {READ: 0.3}
"""What a name counts when names are learned, by how it is known; others count 1. One that was only
read teaches what is believed already."""
NO_BALL = len(BALL_IDS)
"""Class of a crop that holds no ball in its middle."""
EMPTY_CROPS = 8
UNITE_MM = 120.0
"""Pieces of what obstructs nearer than this are one thing: wider than a spread hand's gaps."""
LEAST_THING_MM = 60.0
"""Least side of a thing's box, about a ball: a cue seen along an axis is a line otherwise."""
ARRAYS = (
    "crops", "offset_mm", "kind", "visible", "jacobian", "place_trust", "name_trust", "still",
)  # fmt: skip
"""Files of a cut set, one row a crop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What one still gives."""

    view: NDArray[np.uint8]
    boxes: list[tuple[int, float, float, float, float]]
    """Class, then middle and size as shares of the view."""
    crops: NDArray[np.uint8]
    offset_mm: FloatArray
    """Ball centre in the stored crop, (K, 2)."""
    kind: NDArray[np.int64]
    visible: FloatArray
    jacobian: FloatArray
    place_trust: FloatArray
    """1 where the offset is truth, 0 where it was read: nothing about places is learned from it."""
    name_trust: FloatArray
    still: int


def cut_still(path: Path, entry: dict[str, Any], number: int) -> Cut:
    """View, boxes and crops of one still by its truth.

    Raises:
        FileNotFoundError: it cannot be read as a picture.
    """
    # our own, whole: noise and coarse coding must not make it count as damaged
    read = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if read is None:
        raise FileNotFoundError(path)
    picture = read.astype(np.uint8, copy=False)
    camera, table = Camera.from_dict(entry["camera"]), Table.from_dict(entry["table"])
    view = FinderView.of(camera, table)
    rng = np.random.default_rng((number, 5))
    balls = [ball for ball in entry["balls"] if _visible(ball) >= LEAST_VISIBLE]
    place = np.array([(ball["x_mm"], ball["y_mm"]) for ball in balls], dtype=float).reshape(-1, 2)
    every = np.array([(b["x_mm"], b["y_mm"]) for b in entry["balls"]], dtype=float).reshape(-1, 2)
    start = place + _jitter(rng, len(place))
    bare = empty_places(rng, table, every)
    frames = CropFrames.at(camera, np.concatenate([start, bare]))
    offset = np.zeros((len(start) + len(bare), 2))
    offset[: len(start)] = CropFrames.at(camera, start).to_crop(place)
    names = [BALL_IDS.index(ball["id"]) for ball in balls]
    return Cut(
        view=view.warp(picture),
        boxes=[*ball_boxes(view, place), *thing_boxes(view, camera, table, entry)],
        crops=cut_crops(picture, camera, frames, side=STORED_SIDE, step_mm=STORED_STEP_MM),
        offset_mm=offset,
        kind=np.array([*names, *[NO_BALL] * len(bare)], dtype=np.int64),
        visible=np.array([*map(_visible, balls), *[0.0] * len(bare)], dtype=float),
        jacobian=frames.jacobian(),
        place_trust=np.full(len(offset), float(entry.get("places", EXACT) == EXACT)),
        name_trust=np.array(
            [*[NAME_TRUST.get(ball.get("named", EXACT), 1.0) for ball in balls], *[1.0] * len(bare)]
        ),
        still=number,
    )


def _visible(ball: dict[str, Any]) -> float:
    """Share of its disc that is seen; readings do not tell it."""
    return float(ball.get("visible", 1.0))


def _jitter(rng: np.random.Generator, count: int) -> FloatArray:
    shift = rng.normal(0, START_SIGMA_MM, (count, 2))
    far = np.linalg.norm(shift, axis=1, keepdims=True)
    return np.asarray(shift * np.minimum(1.0, START_LIMIT_MM / np.maximum(far, 1e-9)))


def empty_places(rng: np.random.Generator, table: Table, balls_mm: FloatArray) -> FloatArray:
    """Places (8, 2) without a ball in the middle: beside balls, in pockets, anywhere."""
    length, width = table.surface_mm
    out: list[FloatArray] = []
    while len(out) < EMPTY_CROPS:
        way = rng.random()
        if way < 0.4 and len(balls_mm):
            turn, reach = rng.uniform(0, 2 * np.pi), rng.uniform(18, 50)
            near = balls_mm[int(rng.integers(len(balls_mm)))]
            place = near + reach * np.array([np.cos(turn), np.sin(turn)])
        elif way < 0.55:
            pocket = table.pockets[int(rng.integers(6))]
            place = np.array(pocket.aim_mm) + rng.normal(0, 30, 2)
        else:
            place = rng.uniform((20, 20), (length - 20, width - 20))
        away = np.linalg.norm(balls_mm - place, axis=1).min() if len(balls_mm) else np.inf
        if away > 16.0:
            out.append(place)
    return np.array(out)


def ball_boxes(
    view: FinderView, places_mm: FloatArray
) -> list[tuple[int, float, float, float, float]]:
    """A square of one diameter about each ball, class 0, as shares of the view."""
    wide, high = (BALL_DIAMETER_MM / view.scale_mm / side for side in (VIEW_COLUMNS, VIEW_ROWS))
    middle = (view.to_view(places_mm) + 0.5) / (VIEW_COLUMNS, VIEW_ROWS)
    return [(0, float(x), float(y), wide, high) for x, y in middle]


def thing_boxes(
    view: FinderView, camera: Camera, table: Table, entry: dict[str, Any]
) -> list[tuple[int, float, float, float, float]]:
    """What obstructs, class 1: its boxes in the still, carried to the view and cut to the bed.

    Pieces near each other are one thing (a hand's finger tips come singly), and none is drawn
    narrower than the network can frame.
    """
    bed = view.to_view([(0.0, 0.0), table.surface_mm])
    seen = [_in_view(view, camera, box, bed) for box in entry.get("obstruction_px", ())]
    whole = united([box for box in seen if (box[2:] > box[:2]).all()], UNITE_MM / view.scale_mm)
    out = []
    for box in whole:
        first, last = _widened(box, LEAST_THING_MM / view.scale_mm)
        middle = ((first + last) / 2 + 0.5) / (VIEW_COLUMNS, VIEW_ROWS)
        share = (last - first) / (VIEW_COLUMNS, VIEW_ROWS)
        out.append((1, float(middle[0]), float(middle[1]), float(share[0]), float(share[1])))
    return out


def _in_view(
    view: FinderView, camera: Camera, box_px: Sequence[float], bed: FloatArray
) -> FloatArray:
    """A box of the still as left, top, right, bottom in the view, cut to the bed (2, 2)."""
    left, top, right, bottom = box_px
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
    seen = np.clip(view.to_view(camera.back_project(corners)), *bed)
    return np.concatenate([seen.min(axis=0), seen.max(axis=0)])


def united(boxes: Sequence[FloatArray], gap: float) -> list[FloatArray]:
    """Boxes (left, top, right, bottom) with all that lie within ``gap`` of each other made one."""
    left = [np.asarray(box, dtype=float) for box in boxes]
    out: list[FloatArray] = []
    while left:
        box = left.pop()
        near = [other for other in (*left, *out) if _gap(box, other) < gap]
        if near:
            # what grew may now lie near others, those that were done with as well
            parts = np.array([box, *near])
            left, out = ([other for other in some if _gap(box, other) >= gap]
                         for some in (left, out))  # fmt: skip
            left.append(np.concatenate([parts[:, :2].min(axis=0), parts[:, 2:].max(axis=0)]))
        else:
            out.append(box)
    return out


def _gap(one: FloatArray, other: FloatArray) -> float:
    """Distance between two boxes, zero where they meet."""
    between = np.maximum(np.maximum(one[:2] - other[2:], other[:2] - one[2:]), 0)
    return float(np.hypot(*between))


def _widened(box: FloatArray, least: float) -> tuple[FloatArray, FloatArray]:
    """Corners of a box widened about its middle to ``least`` on every side, within the view."""
    middle, half = (box[:2] + box[2:]) / 2, np.maximum((box[2:] - box[:2]) / 2, least / 2)
    limit = (VIEW_COLUMNS - 0.5, VIEW_ROWS - 0.5)
    return np.maximum(middle - half, -0.5), np.minimum(middle + half, limit)


def truth_entries(folder: Path) -> dict[str, dict[str, Any]]:
    """Truth entries of a folder's stills, of all its truth files."""
    entries: dict[str, dict[str, Any]] = {}
    for path in sorted(folder.glob("truth*.json")):
        entries |= json.loads(path.read_text(encoding="utf-8"))["stills"]
    return dict(sorted(entries.items()))


def _cut_one(work: tuple[Path, dict[str, Any], int, Path]) -> tuple[Any, ...]:
    path, entry, number, out = work
    cv2.setNumThreads(1)
    cut = cut_still(path, entry, number)
    cv2.imwrite(str(out / "images" / f"{number:05d}.png"), cut.view)
    lines = [f"{c} {x:.6f} {y:.6f} {w:.6f} {h:.6f}" for c, x, y, w, h in cut.boxes]
    (out / "labels" / f"{number:05d}.txt").write_text("\n".join(lines), encoding="utf-8")
    still = np.full(len(cut.kind), cut.still)
    arrays = {name: getattr(cut, name) for name in ARRAYS if name != "still"}
    return tuple((arrays | {"still": still})[name] for name in ARRAYS)


def cut_folders(folders: list[Path], out: Path, *, workers: int) -> int:
    """Cut every still of the folders into ``out``; the number of stills."""
    (out / "images").mkdir(parents=True, exist_ok=True)
    (out / "labels").mkdir(parents=True, exist_ok=True)
    work: list[tuple[Path, dict[str, Any], int, Path]] = []
    for folder in folders:
        for name, entry in truth_entries(folder).items():
            if (folder / name).exists():
                work.append((folder / name, entry, len(work), out))
    # a forked child of a process whose picture library runs threads may wait for them for ever
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        parts = list(pool.map(_cut_one, work, chunksize=4))
    arrays = {name: np.concatenate([p[k] for p in parts]) for k, name in enumerate(ARRAYS)}
    for name, values in arrays.items():
        kept = values if values.dtype == np.uint8 else values.astype(np.float32)
        np.save(out / f"{name}.npy", kept)
    return len(work)


def main(arguments: list[str] | None = None) -> None:
    """Cut sets from folders of stills."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stills", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(arguments)
    print(cut_folders(given.stills, given.out, workers=given.workers), "stills cut")


if __name__ == "__main__":
    main()
