"""Sidecar truth of stills: where every ball really lies, and how that is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration import strict
from calibration.camera import Camera
from calibration.errors import FileFormatError
from calibration.jsonfile import read_json
from calibration.kept.calibration import HEADS, Calibration
from calibration.strict import Share
from calibration.table import Table
from vision.layout import BALL_IDS

TRUTH_FORMAT = "restmark-truth"
TRUTH_VERSION = 1
TRUTH_FILE = "truth.json"
_REMEDY = "Give the folder of a truth file, or make the stills again with this release."


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthBall:
    """A ball as it really lies, mm in the table frame."""

    id: str
    x_mm: float
    y_mm: float
    visible: Share = 1.0
    """Share of its outline's disc that nothing hides."""

    def __post_init__(self) -> None:
        strict.check(self, label="ball", error=FileFormatError, remedy=_REMEDY)
        if self.id not in BALL_IDS:
            raise FileFormatError(
                f"ball.id: got {strict.shown(self.id)}; allowed: cue, 1 … 15. Correct the name."
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

    def __post_init__(self) -> None:
        strict.check(self, label="still", error=FileFormatError, remedy=_REMEDY)
        if self.head not in HEADS:
            raise FileFormatError(
                f"still.head: got {strict.shown(self.head)}; allowed: {', '.join(HEADS)}. {_REMEDY}"
            )

    @property
    def calibration(self) -> Calibration:
        """The true camera and table as an exact calibration."""
        return Calibration.exact(self.camera, self.table, head=self.head)


def read_truth(folder: Path | str) -> dict[str, TruthStill]:
    """Truth of every still of a folder by file name, in the file's order.

    Raises ``FileFormatError`` with the field's path where ``truth.json`` is missing or wrong.
    """
    path = Path(folder) / TRUTH_FILE
    data = read_json(path, file_format=TRUTH_FORMAT, version=TRUTH_VERSION, remedy=_REMEDY)
    stills = strict.record(data.get("stills"), f"{path}.stills", remedy=_REMEDY)
    return {
        name: _still_from_dict(name, item, path=f"{path}.stills[{name!r}]")
        for name, item in stills.items()
    }


def _still_from_dict(name: str, item: object, *, path: str) -> TruthStill:
    row = strict.record(item, path, remedy=_REMEDY)
    scene = strict.record(row.get("scene") or {}, f"{path}.scene", remedy=_REMEDY)
    return strict.build(
        TruthStill,
        {"head": "left", "balls": (), **row, "name": name, "scene": scene},
        path=path,
        label="still",
        remedy=_REMEDY,
        convert={
            "camera": lambda part, at: Camera.from_dict(part, path=at),
            "table": lambda part, at: Table.from_dict(part, path=at),
            "balls": strict.listed(_ball),
        },
    )


def _ball(item: object, path: str) -> TruthBall:
    return strict.build(TruthBall, item, path=path, label="ball", remedy=_REMEDY)
