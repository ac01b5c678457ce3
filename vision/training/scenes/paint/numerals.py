"""Printed numerals drawn from strokes of our own, the same on every machine."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from vision.training.scenes.values import FloatArray

PATCH_PX = 256
STROKE = 0.155
"""Stroke width as a fraction of a numeral's height."""


def _arc(cx: float, cy: float, rx: float, ry: float, start: float, end: float) -> FloatArray:
    """Points of an elliptic arc; degrees, 0 = right, 90 = down."""
    angle = np.deg2rad(np.linspace(start, end, 40))
    return np.column_stack([cx + rx * np.cos(angle), cy + ry * np.sin(angle)])


def _line(*points: tuple[float, float]) -> FloatArray:
    return np.asarray(points, float)


# each numeral in a box 0.6 wide and 1 high, y down
_STROKES: dict[str, list[FloatArray]] = {
    "0": [_arc(0.3, 0.5, 0.22, 0.42, 0, 360)],
    "1": [_line((0.14, 0.26), (0.33, 0.08), (0.33, 0.92))],
    "2": [
        np.concatenate([_arc(0.3, 0.31, 0.22, 0.23, 185, 385), _line((0.08, 0.92), (0.54, 0.92))])
    ],
    "3": [_arc(0.28, 0.29, 0.2, 0.21, 190, 450), _arc(0.28, 0.71, 0.23, 0.22, 270, 530)],
    "4": [_line((0.42, 0.92), (0.42, 0.08), (0.04, 0.68), (0.58, 0.68))],
    "5": [
        np.concatenate(
            [_line((0.5, 0.08), (0.14, 0.08), (0.11, 0.46)), _arc(0.28, 0.66, 0.23, 0.25, 230, 520)]
        )
    ],
    "6": [_arc(0.3, 0.68, 0.22, 0.24, 0, 360), _arc(0.5, 0.68, 0.42, 0.62, 180, 262)],
    "7": [_line((0.08, 0.08), (0.53, 0.08), (0.24, 0.92))],
    "8": [_arc(0.3, 0.29, 0.19, 0.21, 0, 360), _arc(0.3, 0.71, 0.22, 0.22, 0, 360)],
    "9": [_arc(0.3, 0.32, 0.22, 0.24, 0, 360), _arc(0.1, 0.32, 0.42, 0.62, 0, 82)],
}


@lru_cache(maxsize=64)
def number_patch(number: int) -> FloatArray:
    """Ink 0…1 on a square patch (PATCH_PX, PATCH_PX) whose inscribed circle is the disc."""
    big = PATCH_PX * 4
    ink = np.zeros((big, big), np.uint8)
    text = str(number)
    height = 0.50 if len(text) == 1 else 0.44
    underscore = number in (6, 9)
    advance = 0.62 if len(text) == 1 else 0.56
    left = 0.5 - height * (advance * (len(text) - 1) + 0.6) / 2
    top = 0.5 - height / 2 - (0.05 if underscore else 0.0)
    width = max(int(STROKE * height * big), 1)
    for k, letter in enumerate(text):
        for stroke in _STROKES[letter]:
            points = (stroke * height + [left + k * advance * height, top]) * big
            cv2.polylines(
                ink, [np.round(points * 16).astype(np.int32)], False, 255, width, cv2.LINE_AA, 4
            )
    if underscore:
        y = int((top + height + 0.09) * big)
        half = int(0.17 * big)
        cv2.line(ink, (big // 2 - half, y), (big // 2 + half, y), 255, width, cv2.LINE_AA)
    small = cv2.resize(ink, (PATCH_PX, PATCH_PX), interpolation=cv2.INTER_AREA)
    return small.astype(np.float64) / 255
