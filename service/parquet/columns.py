"""The columns of each kind of file: name, unit, kind of value, and what it says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from service.listed.attempts import COLUMNS

ATTEMPTS, READINGS, BALLS = "attempts", "readings", "balls"
WORD, WHOLE, REAL, MARK, TIME = "word", "whole", "real", "mark", "time"
_KINDS = {"number": WHOLE, "count": WHOLE, "time": TIME, "0 or 1": MARK, "mm": REAL}
_KINDS |= {"0 to 1": REAL, "degrees": REAL, "text": WORD, "word": WORD, "ball": WORD}
_KINDS |= {"pocket": WORD, "mm²": REAL, "ms": REAL}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column; an empty cell: not known, or no such."""

    name: str
    unit: str
    says: str

    @property
    def kind(self) -> str:
        """Kind of value, by the unit."""
        return _KINDS[self.unit]


def _fields(*told: tuple[str, str, str]) -> tuple[Field, ...]:
    return tuple(Field(name=name, unit=unit, says=says) for name, unit, says in told)


FIELDS: Mapping[str, tuple[Field, ...]] = {
    ATTEMPTS: tuple(Field(name=each.name, unit=each.unit, says=each.says) for each in COLUMNS)
    + _fields(
        ("offset_along_mm", "mm", "stop against the wanted spot along the arrival line, + long"),
        ("offset_across_mm", "mm", "the same across it, + left"),
        ("shot", "word", "a hash of the intent: attempts with the same one were the same shot"),
        ("before_reading", "number", "reading of the still before the shot"),
        ("after_reading", "number", "reading of the still after it"),
    ),
    READINGS: _fields(
        ("reading", "number", "the reading's number"),
        ("still", "number", "its still's number"),
        ("still_name", "text", "the still's name"),
        ("sha256", "word", "hash of the still's bytes, and the name of its file"),
        ("received_at", "time", "when the still came, UTC"),
        ("table", "number", "at which table"),
        ("calibration", "number", "with which calibration it was read"),
        ("live", "0 or 1", "1: a still taken then; 0: imported, or read again"),
        ("read_at", "time", "when it was read, UTC"),
        ("took_ms", "ms", "how long reading it took"),
        ("settled", "0 or 1", "1: nothing rolled"),
        ("obstructed", "0 or 1", "1: a person, or what cannot be told from one, was over the bed"),
        ("balls", "count", "balls that were found"),
        ("set", "number", "the taught ball set that named them"),
        ("weights", "word", "hash of the networks"),
        ("software", "word", "release that read it"),
    ),
    BALLS: _fields(
        ("reading", "number", "the reading that it was found in"),
        ("table", "number", "at which table"),
        ("ball", "ball", "its name: cue, 1 … 15"),
        ("x_mm", "mm", "from the head nose line"),
        ("y_mm", "mm", "from the lower long nose line"),
        ("var_x_mm2", "mm²", "variance of x"),
        ("cov_xy_mm2", "mm²", "covariance of x and y"),
        ("var_y_mm2", "mm²", "variance of y"),
        ("confidence", "0 to 1", "probability of the name"),
        ("doubtful", "0 or 1", "1: the name is in doubt"),
    ),
}
