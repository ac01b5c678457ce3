"""What the store asks of a database, whichever it is."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import sqlalchemy as sa

from ..records import StoreError
from .hold import Hold

NAMED = 5
"""So many damaged things are named; the rest are counted."""


class Database(ABC):
    """A place for the tables; its connections are transactions already."""

    place: str
    """What errors call it; without a password."""
    engine: sa.Engine

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self._lock_file: Hold | None = None

    @abstractmethod
    def is_there(self) -> bool:
        """Whether a store was made here before; it makes none."""

    @abstractmethod
    @contextmanager
    def looking(self) -> Iterator[sa.Connection]:
        """A connection whose answers all come from one moment."""

    @abstractmethod
    @contextmanager
    def writing(self, *, references: bool = True) -> Iterator[sa.Connection]:
        """A connection that alone writes; committed at the block's end unless it was before.

        ``references`` False: references are not watched, for steps that make a table anew.
        """

    def written(self) -> tuple[int, ...] | None:
        """Another value after a change by whichever process; None: it cannot be told cheaply."""
        return None

    def hold(self) -> None:
        """Keep other services out of this store; HeldError where one has it."""
        self._lock_file = Hold.take(self.data_dir)

    @abstractmethod
    def check_hold(self) -> None:
        """Refuse a write where this store is no longer held, though it was."""

    def release(self) -> None:
        """Give connections back, and the store to others."""
        self.engine.dispose()
        if self._lock_file is not None:
            self._lock_file.release()

    def prepare(self) -> None:  # noqa: B027 - a server keeps its own files
        """Make the file that it lies in, closed to everybody else, where it lies in one."""

    @abstractmethod
    def check_structure(self, connection: sa.Connection) -> None:
        """DamagedError where the database does not hang together, as far as it can tell."""

    @abstractmethod
    def check_cells(self, connection: sa.Connection) -> None:
        """DamagedError, which names them, for cells that cannot have been written so."""

    @abstractmethod
    def identity(self) -> tuple[int, ...]:
        """What tells this place from another one that was put where it was; OSError: gone."""

    @property
    @abstractmethod
    def identified(self) -> str:
        """The thing whose identity that is."""

    @abstractmethod
    def is_large(self, limit_bytes: int) -> bool:
        """Whether looking it over takes longer than a start may; False where that is unknown."""

    @abstractmethod
    def keep_copy(self) -> str:
        """Keep today's copy of what was just found whole, where this database can.

        Returns what stood in the way; empty where nothing did.
        """

    @abstractmethod
    def copies(self) -> tuple[date, ...]:
        """Days of the copies there are, newest first."""

    @abstractmethod
    def write_copy(self, path: Path) -> bool:
        """All that is committed as one file; False where this database cannot, its dump can."""

    @abstractmethod
    def interrupt(self, connection: sa.Connection) -> None:
        """Have what ``connection`` is asked just now, by another thread, end at once."""

    @abstractmethod
    def refusal(self, wrong: OSError | UnicodeError | sa.exc.SQLAlchemyError) -> StoreError:
        """What disk or database complained of as one clear refusal."""


def named(wrong: list[str]) -> str:
    """The first few of what is wrong, and how many more there are."""
    more = len(wrong) - NAMED
    return ", ".join(wrong[:NAMED]) + (f" and {more} more" if more > 0 else "")
