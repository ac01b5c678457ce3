"""What the user's own table proved of the stated error: a factor kept with the calibration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any

from pydantic import Field

from calibration import strict
from calibration.errors import FileFormatError

_REMEDY = "Prove it again with `restmark prove --keep`, or take the field proof out."
MOST = 100.0
"""A stated error that is off by more than this is no error but a wrong calibration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptProof:
    """How much larger errors proved to be than stated, by balls whose places were known."""

    factor: Annotated[
        float,
        Field(strict=True, ge=1.0, le=MOST, description=f"a number from 1 to {MOST:g}"),
    ]
    """Every reading's sigma is this many times the one it would state by itself."""
    stills: int
    gauges: int
    """How many stills, and how many known distances in them, it rests on."""
    at: str
    """When, ISO 8601."""

    def __post_init__(self) -> None:
        strict.check(self, label="proof", error=FileFormatError, remedy=_REMEDY)

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "proof") -> KeptProof:
        """Inverse of ``to_dict``.

        Raises:
            FileFormatError: a field is missing or wrong; the text names it by its path.
        """
        return strict.build(
            cls, data, path=path, label="proof", remedy=_REMEDY, needed=strict.names_of(cls)
        )
