"""What goes to a worker and what comes back: plain values that every process can take."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Stills that one reader's maps read."""

    table_id: int
    calibration_id: int
    set_id: int | None
    cameras: tuple[tuple[str, int], ...] = ()
    """Each camera's calibration, by name, where several looked at the moment."""

    def key(self, still_id: int) -> Key:
        """One still read so."""
        return (still_id, self.calibration_id, self.set_id or 0, self.cameras)


Key = tuple[int, int, int, tuple[tuple[str, int], ...]]
"""Still, calibration, set (0: none) and cameras' calibrations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJob:
    """One camera's still of a moment of several."""

    camera: str
    calibration_id: int
    sha256: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StillJob:
    """A still to be read, or the moment that it stands for."""

    id: int
    sha256: str
    name: str
    settled: bool
    """False where whoever sent it said that balls rolled: no picture shows that."""
    parts: tuple[PartJob, ...] = ()
    """The stills of its moment, itself among them, where several cameras looked."""
    away: tuple[str, ...] = ()
    """The cameras that gave none then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Some stills of one table that the same calibrations read."""

    key: str
    """The same for the same work, whoever asks for it."""
    calibrations: tuple[tuple[str, bytes], ...]
    """Each camera's document as compressed JSON, of no name where one alone looked; a worker keeps
    the maps of the last ones."""
    taught: bytes | None
    """The ball set likewise."""
    weights: str
    software: str
    source: str
    """Folder or address of the stills."""
    stills: tuple[StillJob, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A still that was read."""

    still_id: int
    layout: str
    """Its document as JSON: written here, the process that keeps it need not."""
    comparable: bool
    """Nothing was over the bed, and nothing rolled."""
    took_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A still that was not read, and why."""

    still_id: int
    code: str
    detail: str
    lasting: bool
    """It would be refused again; False: its bytes were not to be had just now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRead:
    """What came of a job."""

    found: tuple[Found, ...] = ()
    refused: tuple[Refused, ...] = ()
