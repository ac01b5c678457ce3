"""A picture with its time, and what every source of pictures does."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

from calibration.errors import RestmarkError
from vision.still import Picture

Tell = Callable[[str], None]
"""Takes a sentence for the person at the table."""


class SourceError(RestmarkError):
    """A source that cannot be opened, or holds nothing that can be shown."""

    code = "bad-source"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """One picture of a source."""

    picture: Picture = field(repr=False)
    """(H, W, 3) BGR; nobody changes it."""
    at_s: float
    """Seconds on the source's own clock, which only runs forward."""
    name: str = ""
    settled: bool = False
    """Whoever took it waited until all lay still."""
    data: bytes = field(default=b"", repr=False)
    """The file that it came in, where it came in one of its own."""


class Source(Protocol):
    """Gives frames until it ends or is closed."""

    @property
    def away(self) -> bool:
        """Whether it is gone for now; it is waited for."""

    def frames(self) -> Iterator[Frame]:
        """Frames in order of time; ``SourceError`` where the source cannot be opened at all."""

    def close(self) -> None:
        """End ``frames`` soon, from any thread."""


def untold(_words: str) -> None:
    """Nobody listens."""
