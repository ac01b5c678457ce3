"""Bring the database to the newest numbered step, at every start."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from service import clock

from . import tables as t
from .records import StoreError


def known_steps() -> frozenset[str]:
    """Steps that this release knows."""
    with _config() as config:
        return _known(config)


def is_newest(connection: sa.Connection) -> bool:
    """Whether the database has every step that this release knows, and no other."""
    with _config() as config:
        newest = ScriptDirectory.from_config(config).get_heads()
    return MigrationContext.configure(connection).get_current_heads() == tuple(newest)


def migrate(connection: sa.Connection, *, place: str) -> None:
    """Run the missing steps on ``connection``, inside its transaction; an empty database gets the
    newest tables at once.

    Raises:
        StoreError: it holds steps that are unknown here; a newer release wrote it.
    """
    with _config() as config:
        config.attributes["connection"] = connection
        known = _known(config)
        held = set(MigrationContext.configure(connection).get_current_heads())
        if held - known:
            raise StoreError(
                f"{place}: got step {', '.join(sorted(held - known))}; allowed: steps up to "
                f"{max(known)}. A newer Restmark wrote this directory, and an older one cannot go "
                "back: use the newer one, or give another directory."
            )
        if not held and not sa.inspect(connection).get_table_names():
            _make_whole(connection)
            command.stamp(config, "head")
        else:
            command.upgrade(config, "head")


def _make_whole(connection: sa.Connection) -> None:
    """The tables as they are now, in an empty database: what all steps lead to, at once."""
    t.metadata.create_all(connection)
    now = clock.now()
    player = connection.execute(sa.insert(t.players).values(name="Player 1", made_at=now))
    assert player.inserted_primary_key is not None
    connection.execute(
        sa.insert(t.tables).values(
            name="Table 1", made_at=now, player_id=player.inserted_primary_key[0]
        )
    )


@contextmanager
def _config() -> Iterator[Config]:
    with as_file(files("service.store") / "migrations") as folder:
        config = Config()
        # the option is interpolated, so a percent sign in the path is doubled
        config.set_main_option("script_location", str(folder).replace("%", "%%"))
        yield config


def _known(config: Config) -> frozenset[str]:
    steps = ScriptDirectory.from_config(config).walk_revisions()
    return frozenset(step.revision for step in steps)
