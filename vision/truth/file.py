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
from calibration.table import Table, TableError
from vision.layout import BALL_IDS

TRUTH_FORMAT = "restmark-truth"
TRUTH_VERSION = 1
TRUTH_FILE = "truth.json"
EXACT, READ = "exact", "read"
"""Places and names: known by whoever made the still, or what this service read itself."""
CONFIRMED, CORRECTED = "confirmed", "corrected"
"""Names that a person said: the name that was read, or another."""
PLACES = (EXACT, READ)
NAMED = (EXACT, CONFIRMED, CORRECTED, READ)
_REMEDY = "Give the folder of a truth file, or make the stills again with this release."


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthBall:
    """A ball as it really lies, mm in the table frame."""

    id: str
    x_mm: float
    y_mm: float
    visible: Share = 1.0
    """Share of its outline's disc that nothing hides."""
    named: str = EXACT
    """How the name is known, one of ``NAMED``."""

    def __post_init__(self) -> None:
        strict.check(self, label="ball", error=FileFormatError, remedy=_REMEDY)
        _check_word("ball.named", self.named, NAMED)
        if self.id not in BALL_IDS:
            raise FileFormatError(
                f"ball.id: got {strict.shown(self.id)}; allowed: cue, 1 … 15. Correct the name."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthStill:
    """What is known about one still.

    Where ``places`` is ``read`` the places are this service's own readings, no measurement: what
    is found far from them was read differently, not wrongly.
    """

    name: str
    camera: Camera
    table: Table
    head: str
    balls: tuple[TruthBall, ...]
    obstructed: bool = False
    places: str = EXACT
    """How the balls' places are known, one of ``PLACES``."""
    scene: Mapping[str, Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        strict.check(self, label="still", error=FileFormatError, remedy=_REMEDY)
        if self.head not in HEADS:
            raise FileFormatError(
                f"still.head: got {strict.shown(self.head)}; allowed: {', '.join(HEADS)}. {_REMEDY}"
            )
        _check_word("still.places", self.places, PLACES)

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


def _check_word(path: str, got: str, allowed: tuple[str, ...]) -> None:
    if got not in allowed:
        raise FileFormatError(
            f"{path}: got {strict.shown(got)}; allowed: {', '.join(allowed)}. {_REMEDY}"
        )


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
            "table": _table,
            "balls": strict.listed(_ball),
        },
    )


def _table(part: object, path: str) -> Table:
    """A table of which only the surface must be told: another maker of stills knows no shelves."""
    row = strict.record(part, path, error=TableError, remedy=_REMEDY)
    usual = Table().to_dict()
    del usual["length_mm"], usual["width_mm"]
    return Table.from_dict({**usual, **row}, path=path)


def _ball(item: object, path: str) -> TruthBall:
    return strict.build(TruthBall, item, path=path, label="ball", remedy=_REMEDY)
