"""From a still of the empty table to a proposal, step by step, telling what it is at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.from_still import landmarks_of, solved, watched
from calibration.kept.calibration import Calibration
from calibration.seen.exif import focal_of
from calibration.seen.frozen_balls import frozen_marks
from calibration.seen.marks import Landmarks
from calibration.solve.known import Known
from calibration.table import Table
from vision.known.ball_check import seen_balls
from vision.known.empty_check import balls_on_bed, refuse_balls, with_balls_accepted

from .asked import Asked
from .blind import Blind
from .marks import Mark, edges_px, found_marks, hand_marks, solved_marks
from .proposal import Proposal
from .work import Task

KIND = "calibration"


def propose(asked: Asked, task: Task[Proposal]) -> Proposal:
    """The calibration that follows from what was asked.

    What was found is told beside the work, so that it can be looked at where no calibration
    comes of it.

    Raises:
        RestmarkError: the still, the table, the lengths or what was found do not do.
    """
    task.beside(_shown(hand_marks(asked.points)))
    task.tell("Looking at the still", 0.05)
    table, known = asked.table(), asked.known()
    picture = asked.still.picture()
    known = replace(known, focal=focal_of(asked.still.data, asked.still.size_px))
    task.tell("Looking for cushions, sights and pockets", 0.1)
    landmarks = landmarks_of(picture, table, asked.head, known)
    task.beside(_shown(found_marks(landmarks, asked.points), landmarks))
    task.tell("Working out the camera's place", 0.6)
    made = watched(solved(landmarks, table, known), picture)
    if asked.ball_check is not None:
        task.tell("Looking at the balls at the cushions", 0.7)
        landmarks, made = _checked(asked, landmarks, made, table, known, picture)
    task.tell("Looking whether the bed is empty", 0.85)
    balls = balls_on_bed(made, picture, name=asked.still.name)
    if not asked.accept_balls:
        refuse_balls(balls, name=asked.still.name)
    made = with_balls_accepted(made, balls)
    return Proposal(
        calibration=made,
        marks=solved_marks(landmarks, made, asked.points),
        edges_px=tuple((u, v) for u, v in edges_px(landmarks)),
        blind=Blind.of(made),
    )


def _checked(
    asked: Asked,
    landmarks: Landmarks,
    made: Calibration,
    table: Table,
    known: Known,
    picture: NDArray[np.uint8],
) -> tuple[Landmarks, Calibration]:
    """Solved once more with the balls that the ball-check still shows frozen at their places."""
    check = asked.ball_check
    assert check is not None
    if check.size_px != asked.still.size_px:
        raise CalibrationError(
            f"{check.name}: got {check.size_px[0]}x{check.size_px[1]} px; allowed: "
            f"{asked.still.size_px[0]}x{asked.still.size_px[1]} px, as the still of the empty "
            "table. Take both with the same camera at the same setting.",
            fields={"about": "balls"},
        )
    seen = seen_balls(check.picture(), made, name=check.name)
    marks = frozen_marks(seen, made.camera, made.table)
    more = replace(landmarks, items=(*landmarks.items, *marks))
    return more, watched(solved(more, table, known), picture)


def _shown(marks: tuple[Mark, ...], landmarks: Landmarks | None = None) -> dict[str, object]:
    return {
        "marks": [mark.to_dict() for mark in marks],
        "edges_px": [] if landmarks is None else edges_px(landmarks),
    }
