"""The lens board as an object: exact texture, exact corners, a plate and a post behind it."""

from __future__ import annotations

import cv2
import numpy as np

from vision.training.scenes.looks import BoardPose
from vision.training.scenes.values import ByteArray, FloatArray, Material, Mesh, Part

from .meshes import lathe, shifted

SQUARES = (7, 10)
SQUARE_MM = 40.0
MARKER_MM = 30.0
DICTIONARY = "5X5_250"
MARGIN_MM = 18.0
PX_PER_MM = 8
PLATE_MM = 5.0

BOARD_TRUTH = {
    "pattern": "charuco",
    "squares": list(SQUARES),
    "square_mm": SQUARE_MM,
    "marker_mm": MARKER_MM,
    "dictionary": DICTIONARY,
}


def charuco() -> cv2.aruco.CharucoBoard:
    """The board as OpenCV knows it."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{DICTIONARY}"))
    return cv2.aruco.CharucoBoard(SQUARES, SQUARE_MM, MARKER_MM, dictionary)


def board_size_mm() -> tuple[float, float]:
    """Width and height of the pattern."""
    return (SQUARES[0] * SQUARE_MM, SQUARES[1] * SQUARE_MM)


def board_texture() -> ByteArray:
    """Paper with the pattern and a white margin; ink and paper are not pure black and white."""
    width, height = (round(v * PX_PER_MM) for v in board_size_mm())
    pattern = charuco().generateImage((width, height), marginSize=0, borderBits=1)
    margin = round(MARGIN_MM * PX_PER_MM)
    sheet = cv2.copyMakeBorder(
        pattern, margin, margin, margin, margin, cv2.BORDER_CONSTANT, value=255
    )
    grey = 10 + sheet.astype(np.float32) * (236 - 10) / 255
    return np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2)


def to_table(pose: BoardPose, points_mm: FloatArray) -> FloatArray:
    """Board points (N, 3) → table frame (N, 3)."""
    rotation = cv2.Rodrigues(np.asarray(pose.rvec, float))[0]
    return np.asarray(np.asarray(points_mm, float) @ rotation.T + np.asarray(pose.origin_mm))


def corner_points_mm(pose: BoardPose) -> FloatArray:
    """Inner chessboard corners in the table frame, in OpenCV's order of ids, (54, 3)."""
    corners = np.asarray(charuco().getChessboardCorners(), float).reshape(-1, 3)
    corners[:, 2] = 0.0
    return to_table(pose, corners)


def board_parts(pose: BoardPose) -> list[Part]:
    """Sheet, plate and the post that holds it from below."""
    width, height = board_size_mm()
    m = MARGIN_MM
    quad = np.array(
        [[-m, -m, 0], [width + m, -m, 0], [width + m, height + m, 0], [-m, height + m, 0]]
    )
    uv = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    face = np.array([[0, 1, 2], [0, 2, 3]])
    sheet = Mesh(vertices_mm=to_table(pose, quad), faces=face, uv=uv)
    plate = _plate(pose, quad)
    middle = to_table(pose, np.array([[width / 2, height / 2, PLATE_MM + 2]]))[0]
    post = lathe(
        np.array([middle[0], middle[1], 0.0]), middle, ((0.0, 60.0), (0.02, 60.0), (0.03, 9.0),
                                                        (1.0, 9.0)), 24,
    )  # fmt: skip
    return [
        Part(name="board", shape=sheet, material=Material(texture=board_texture())),
        Part(name="board-plate", shape=plate, material=Material(colour=(0.55, 0.42, 0.28))),
        Part(name="board-post", shape=post, material=Material(colour=(0.07, 0.07, 0.08))),
    ]


def _plate(pose: BoardPose, quad: FloatArray) -> Mesh:
    """A stiff plate glued behind the sheet, a little larger."""
    middle = quad.mean(axis=0)
    rim = middle + (quad - middle) * 1.02
    vertices = np.concatenate([shifted(rim, 0, 0, 0.4), shifted(rim, 0, 0, PLATE_MM)])
    faces = [[0, 1, 2], [0, 2, 3], [4, 6, 5], [4, 7, 6]]
    for k in range(4):
        n = (k + 1) % 4
        faces += [[k, n, k + 4], [n, n + 4, k + 4]]
    return Mesh(vertices_mm=to_table(pose, vertices), faces=np.array(faces))
