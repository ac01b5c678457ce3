"""A whole store out, and an archive in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import IO

from alembic.runtime.migration import MigrationContext

from ..migrate import known_steps
from ..store import Store
from ..writer import Writer
from .lenses import FOLDER, lenses_of, lenses_there, look_over_lenses
from .opening import Opened, opened
from .taking import Checks, Taken, look_over, take_in
from .writing import archive_bytes


def export_archive(store: Store) -> Iterator[bytes]:
    """Everything that ``store`` keeps as one zip, part by part, as it was at one moment."""
    with store.reading() as reader:
        connection = reader.connection
        step = MigrationContext.configure(connection).get_current_revision()
        yield from archive_bytes(
            connection, store.files, step=str(step), lenses=lenses_of(store.data_dir)
        )


def take_archive(store: Store, source: Path | IO[bytes], *, checks: Checks) -> Taken:
    """All of an archive's file in ``store``, under new numbers; what is there stays.

    Raises ArchiveError where it is refused, and then nothing was taken in.
    """
    with opened(source) as archive:
        look_over(archive, checks, steps=known_steps())
        here = [lens.number for lens, _ in lenses_of(store.data_dir)]
        look_over_lenses(archive, checks, here=here)
        with (
            lenses_there(archive, store.data_dir) as lenses,
            store.stills_together() as stills,
        ):
            for sha256, size_bytes in archive.stills():
                if not store.files.has_content(sha256, size_bytes):
                    stills.add(archive.still(sha256))
            with store.writing() as writer:
                # on disk before any row names them; gone again where the rows fail
                writer.when_taken_back(stills.take_back)
                stills.settle()
                return _with_rows(writer, archive, lenses)


def _with_rows(writer: Writer, archive: Opened, lenses: int) -> Taken:
    """Its rows in the store, and what is told of all."""
    taken = take_in(writer.connection, archive)
    if any(taken.added.values()):
        writer.tell("import")
    there = len(archive.manifest.lenses) - lenses
    return replace(
        taken,
        added={**taken.added, FOLDER: lenses},
        there={**taken.there, FOLDER: there},
    )
