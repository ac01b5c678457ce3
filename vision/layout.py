"""What a reading says: balls with places, errors and doubts, as values and as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.errors import FileFormatError

BALL_IDS = ("cue", *(str(number) for number in range(1, 16)))
Cov = tuple[tuple[float, float], tuple[float, float]]
EXACT: Cov = ((0.0, 0.0), (0.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """One ball: centre in the table frame (mm) with its 2×2 covariance (mm²) and its name."""

    id: str
    x_mm: float
    y_mm: float
    cov_mm2: Cov = EXACT
    confidence: float = 1.0
    """Probability that the name is right."""
    doubtful: bool = False
    runners_up: tuple[tuple[str, float], ...] = ()
    """Other names with their probabilities, best first; given when doubtful."""
    look: tuple[tuple[str, float], ...] = ()
    """Likely names by the ball's looks alone, without the other balls, best first."""
    said: bool = False
    """A person gave the name."""

    def __post_init__(self) -> None:
        if self.id not in BALL_IDS:
            raise FileFormatError(
                f"ball.id: got {self.id!r}; allowed: cue, 1 … 15. Correct the name."
            )
        if not (math.isfinite(self.x_mm) and math.isfinite(self.y_mm)):
            raise FileFormatError(
                f"ball {self.id}: got x_mm {self.x_mm}, y_mm {self.y_mm}; allowed: finite "
                "millimetres in the table frame. Correct the place."
            )

    @property
    def centre_mm(self) -> tuple[float, float]:
        """x, y in the table frame."""
        return (self.x_mm, self.y_mm)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``read --json``."""
        out: dict[str, Any] = {
            "id": self.id,
            "x_mm": self.x_mm,
            "y_mm": self.y_mm,
            "cov_mm2": [list(row) for row in self.cov_mm2],
            "confidence": self.confidence,
            "doubtful": self.doubtful,
        }
        if self.runners_up:
            out["runners_up"] = [{"id": name, "confidence": p} for name, p in self.runners_up]
        if self.look:
            out["look"] = [{"id": name, "confidence": p} for name, p in self.look]
        if self.said:
            out["said"] = True
        return out

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "ball") -> Ball:
        """Inverse of ``to_dict``; only ``id``, ``x_mm`` and ``y_mm`` are required."""
        if not isinstance(data, Mapping):
            raise FileFormatError(f"{path}: got {data!r}; allowed: an object with id, x_mm, y_mm.")
        try:
            cov = data.get("cov_mm2") or EXACT
            (a, b), (c, d) = cov
            return cls(
                id=str(data["id"]),
                x_mm=float(data["x_mm"]),
                y_mm=float(data["y_mm"]),
                cov_mm2=((float(a), float(b)), (float(c), float(d))),
                confidence=float(data.get("confidence", 1.0)),
                doubtful=bool(data.get("doubtful", False)),
                runners_up=tuple(
                    (str(r["id"]), float(r["confidence"])) for r in data.get("runners_up", ())
                ),
                look=tuple((str(r["id"]), float(r["confidence"])) for r in data.get("look", ())),
                said=bool(data.get("said", False)),
            )
        except KeyError as missing:
            raise FileFormatError(
                f"{path}.{missing.args[0]}: missing; allowed: id, x_mm and y_mm of every ball. "
                "Add it."
            ) from None
        except (TypeError, ValueError) as wrong:
            if isinstance(wrong, FileFormatError):
                raise FileFormatError(f"{path}: {wrong}") from None
            raise FileFormatError(
                f"{path}: got {dict(data)!r}; allowed: id, numbers x_mm and y_mm, and a 2×2 "
                "cov_mm2. Correct the field."
            ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All balls of one settled still, with the surface they lie on."""

    still: str
    surface_mm: tuple[float, float]
    balls: tuple[Ball, ...] = ()
    settled: bool = True
    obstructed: bool = False
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        names = [ball.id for ball in self.balls]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise FileFormatError(
                f"layout {self.still}: got ball(s) {', '.join(twice)} more than once; allowed: "
                "each name once. Remove or rename the extra."
            )

    def ball(self, name: str) -> Ball | None:
        """The ball of that name, or None where it is not on the table."""
        return next((ball for ball in self.balls if ball.id == name), None)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``read --json`` prints it."""
        return {
            "still": self.still,
            "surface_mm": list(self.surface_mm),
            "settled": self.settled,
            "obstructed": self.obstructed,
            "balls": [ball.to_dict() for ball in self.balls],
            "warnings": list(self.warnings),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "layout") -> Layout:
        """Inverse of ``to_dict``; ``surface_mm`` and ``balls`` are required."""
        if not isinstance(data, Mapping):
            raise FileFormatError(
                f"{path}: got {type(data).__name__}; allowed: an object as `read --json` prints it."
            )
        for name in ("surface_mm", "balls"):
            if not isinstance(data.get(name), list):
                raise FileFormatError(
                    f"{path}.{name}: got {data.get(name)!r}; allowed: a list as `read --json` "
                    "prints it. Add it."
                )
        try:
            length, width = (float(v) for v in data["surface_mm"])
        except (TypeError, ValueError):
            raise FileFormatError(
                f"{path}.surface_mm: got {data['surface_mm']!r}; allowed: length and width in mm."
            ) from None
        return cls(
            still=str(data.get("still", "")),
            surface_mm=(length, width),
            balls=tuple(
                Ball.from_dict(item, path=f"{path}.balls[{i}]")
                for i, item in enumerate(data["balls"])
            ),
            settled=bool(data.get("settled", True)),
            obstructed=bool(data.get("obstructed", False)),
            warnings=tuple(str(w) for w in data.get("warnings", ())),
        )

    @classmethod
    def read(cls, path: Path) -> Layout:
        """Layout from a JSON file holding one object as ``read --json`` prints it."""
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, json.JSONDecodeError) as wrong:
            raise FileFormatError(
                f"{path}: cannot be read as JSON ({wrong}); allowed: one object as "
                "`restmark read --json` prints it. Give such a file."
            ) from None
        return cls.from_dict(data, path=str(path))
