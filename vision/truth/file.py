"""Sidecar truth of stills: where every ball really lies, and how that is known."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.camera import Camera
from calibration.errors import FileFormatError
from calibration.kept.calibration import Calibration
from calibration.table import Table
from vision.layout import BALL_IDS

TRUTH_FORMAT = "restmark-truth"
TRUTH_VERSION = 1
TRUTH_FILE = "truth.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthBall:
    """A ball as it really lies, mm in the table frame."""

    id: str
    x_mm: float
    y_mm: float
    visible: float = 1.0
    """Share of its outline's disc that nothing hides."""

    def __post_init__(self) -> None:
        if self.id not in BALL_IDS:
            raise FileFormatError(
                f"truth ball: got {self.id!r}; allowed: cue, 1 … 15. Correct the name."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthStill:
    """What is known about one still."""

    name: str
    camera: Camera
    table: Table
    head: str
    balls: tuple[TruthBall, ...]
    obstructed: bool = False
    scene: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def calibration(self) -> Calibration:
        """The true camera and table as an exact calibration."""
        return Calibration.exact(self.camera, self.table, head=self.head)


def read_truth(folder: Path | str) -> dict[str, TruthStill]:
    """Truth of every still of a folder by file name, in the file's order.

    Raises ``FileFormatError`` with the field's path where ``truth.json`` is missing or wrong.
    """
    path = Path(folder) / TRUTH_FILE
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as wrong:
        raise FileFormatError(
            f"{path}: cannot be read as JSON ({wrong}); allowed: a truth file beside the stills. "
            "Give the folder that holds it."
        ) from None
    kind = (data.get("format"), data.get("version")) if isinstance(data, dict) else (None, None)
    if kind != (TRUTH_FORMAT, TRUTH_VERSION):
        raise FileFormatError(
            f"{path}: got format {kind[0]!r} version {kind[1]!r}; allowed: {TRUTH_FORMAT!r} "
            f"version {TRUTH_VERSION}. Make the stills again with this release."
        )
    stills = data.get("stills")
    if not isinstance(stills, dict):
        raise FileFormatError(
            f"{path}.stills: got {type(stills).__name__}; allowed: an object, one key a still."
        )
    return {
        name: _still_from_dict(name, item, path=f"{path}.stills[{name!r}]")
        for name, item in stills.items()
    }


def _still_from_dict(name: str, item: object, *, path: str) -> TruthStill:
    if not isinstance(item, Mapping):
        raise FileFormatError(f"{path}: got {item!r}; allowed: an object.")
    try:
        return TruthStill(
            name=name,
            camera=Camera.from_dict(item["camera"], path=f"{path}.camera"),
            table=Table.from_dict(item["table"], path=f"{path}.table"),
            head=str(item.get("head", "left")),
            balls=tuple(
                TruthBall(
                    id=str(ball["id"]),
                    x_mm=float(ball["x_mm"]),
                    y_mm=float(ball["y_mm"]),
                    visible=float(ball.get("visible", 1.0)),
                )
                for ball in item.get("balls", ())
            ),
            obstructed=bool(item.get("obstructed", False)),
            scene=item.get("scene") or {},
        )
    except (KeyError, TypeError, ValueError) as wrong:
        if isinstance(wrong, FileFormatError):
            raise
        raise FileFormatError(
            f"{path}: missing or wrong field ({wrong}); allowed: camera, table and balls with "
            "id, x_mm, y_mm. Make the stills again."
        ) from None
