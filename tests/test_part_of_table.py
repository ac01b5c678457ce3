"""A camera that sees one half of a table: read, checked by its rails, its blind part told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, union_all
from simulated_video import Room

from calibration.errors import CalibrationError
from calibration.from_still import calibrate, watched
from calibration.kept.calibration import Calibration
from calibration.kept.trust import Trust
from calibration.lens.file import Lens
from calibration.seen.points import GivenPoint, point_marks
from calibration.solve.known import Known
from calibration.watch.drift import DriftWatch
from vision.bed.outside import outside, outside_mm
from vision.read import Reader

LOW, HIGH = 0, 560
"""Columns of the whole picture that it shows: the head's half and a little more."""
BALLS = {"cue": (400.0, 500.0), "3": (300.0, 900.0), "9": (2100.0, 400.0), "5": (1440.0, 640.0)}
"""The fourth lies a ball's width from the picture's edge."""


@pytest.fixture(scope="module")
def room() -> Room:
    return Room.of()


@pytest.fixture(scope="module")
def half(room: Room) -> Calibration:
    camera = replace(room.camera, image_size_px=(HIGH - LOW, 540))
    empty = np.ascontiguousarray(room.empty[:, LOW:HIGH]).astype(np.uint8)
    return watched(Calibration.exact(camera, room.table, head=room.calibration.head), empty)


def shown(room: Room, *, shift_px: int = 0) -> np.ndarray:
    """That half with balls on it, the camera turned by so many columns."""
    picture = room.empty.copy()
    room.lay(picture, BALLS)
    seen = np.clip(picture, 0, 255).astype(np.uint8)
    return np.ascontiguousarray(seen[:, LOW + shift_px : HIGH + shift_px])


def test_what_it_sees_is_read_and_the_rest_is_blind(room: Room, half: Calibration) -> None:
    layout = Reader(half).read_image(shown(room), name="half")
    assert {"cue", "3"} <= {ball.id for ball in layout.balls} <= {"cue", "3", "5"}
    for name in ("cue", "3"):
        assert layout.ball(name).centre_mm == pytest.approx(BALLS[name], abs=1.5)
    assert not layout.obstructed
    codes = {notice.code for notice in layout.notices}
    assert not codes & {"moved", "drift-unsure", "drift-unchecked", "hidden"}
    blind = union_all([Polygon(corners) for corners in layout.hidden_mm])
    bed = room.table.length_mm * room.table.width_mm
    assert blind.area / bed == pytest.approx(outside(half).area / bed, abs=0.02)
    left, _, right, _ = blind.bounds
    assert (left > 1400, right) == (True, pytest.approx(room.table.length_mm))


def test_a_whole_table_has_no_part_beyond_the_picture(room: Room) -> None:
    assert outside_mm(room.calibration) == ()


def test_a_move_is_judged_where_it_sees_the_bed(room: Room, half: Calibration) -> None:
    watch = DriftWatch(half)
    still = watch.check(shown(room))
    assert (still.state, still.sigma_mm < 0.5) == ("still", True)
    moved = watch.check(shown(room, shift_px=1))
    column_mm = 1 / room.camera.jacobian(np.array([[700.0, 635.0]]))[0, :, 0].max()
    assert moved.state == "moved"
    assert moved.median_mm == pytest.approx(column_mm, rel=0.3)
    assert len(watch.bed_mm) < len(DriftWatch(room.calibration).bed_mm)


NOSES = [f"{pocket}/{side}" for pocket in ("head-left", "head-right", "side-left", "side-right")
         for side in (1, 2)]  # fmt: skip


def test_a_half_is_calibrated_with_a_few_points_by_hand(room: Room) -> None:
    """What no program can know, which end it is, is in the points' names."""
    camera = replace(room.camera, image_size_px=(HIGH - LOW, 540))
    empty = np.ascontiguousarray(room.empty[:, LOW:HIGH]).astype(np.uint8)
    known = Known(lens=Lens.exact(camera))
    with pytest.raises(CalibrationError, match="Or give points by hand: `--points` with four"):
        calibrate(empty, room.table, room.calibration.head, known)
    rng = np.random.default_rng(4)
    anywhere = [GivenPoint(name=name, seen_px=(5.0, 5.0)) for name in NOSES]
    at_mm = [mark.point_mm for mark in point_marks(anywhere, room.table, camera.image_size_px)]
    seen_px = camera.project(np.array(at_mm)) + rng.normal(0, 0.7, (len(NOSES), 2))
    points = [
        GivenPoint(name=name, seen_px=(float(u), float(v)))
        for name, (u, v) in zip(NOSES, seen_px, strict=True)
    ]
    made = calibrate(empty, room.table, room.calibration.head, replace(known, points=tuple(points)))
    places = np.array([(x, y) for x in (80.0, 700.0, 1400.0) for y in (80.0, 635.0, 1190.0)])
    ball_centres = np.column_stack([places, np.full(len(places), 28.575)])
    off_mm = np.hypot(*(made.table_mm(camera.project(ball_centres)) - places).T)
    assert off_mm.max() < 1.0
    assert len(made.rail_marks) > 30
    # judged by the half that it sees: the other end hangs on a lever
    assert Trust.of(made).within_mm < 4.0
    assert made.budget.worst_at_mm[0] < 1600
