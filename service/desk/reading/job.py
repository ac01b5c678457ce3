"""What goes to a reader process and what comes back."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from calibration.kept.calibration import Calibration
from vision.layout import Layout
from vision.name.taught import Taught

READY = b"ready"
"""The first that a process says: its networks are loaded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """A value as it travels between processes of this service, and its name."""

    name: str
    data: bytes


@lru_cache(maxsize=64)
def packed(value: Calibration | Taught) -> Packed:
    """A calibration or a taught set; the same value has the same name."""
    data = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    return Packed(name=hashlib.sha256(data).hexdigest(), data=data)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A still to be read."""

    sequence: str
    """Stills of the same sequence and calibration are read one after another by one reader."""
    data: bytes
    name: str
    calibration: str
    """Name of a packed calibration."""
    taught: str | None
    """Name of a packed set; None: nothing was taught."""
    previous: Layout | None
    afresh: bool
    """With no regard to the stills before."""
    values: Mapping[str, bytes]
    """Those packed values that the process may not have yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A layout, and the calibration as the rails corrected it for that still."""

    layout: Layout
    corrected: Calibration


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Why there is no layout."""

    refusal: Exception


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """A fault of the program, as its traceback tells it."""

    told: str


@dataclass(frozen=True, slots=True)
class Missing:
    """The process has not the packed values that the job names: they are to come with it."""


Answer = Read | Refused | Failed | Missing


def as_refusal(wrong: Any) -> Exception:
    """A refusal that another process can open."""
    try:
        opened = pickle.loads(pickle.dumps(wrong))
    except Exception:
        opened = None
    if isinstance(opened, type(wrong)):
        return wrong
    from calibration.errors import RestmarkError

    return RestmarkError(wrong.detail, code=wrong.code, fields=wrong.fields)
