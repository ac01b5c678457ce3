"""Bring the database to the newest numbered step, at every start."""

from __future__ import annotations

from importlib.resources import as_file, files

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from .records import StoreError


def migrate(connection: sa.Connection, *, place: str) -> None:
    """Run the missing steps on ``connection``, inside its transaction.

    Refuses a database that holds steps unknown here: a newer release wrote it.
    """
    with as_file(files("service.store") / "migrations") as folder:
        config = Config()
        # the option is interpolated, so a percent sign in the path is doubled
        config.set_main_option("script_location", str(folder).replace("%", "%%"))
        config.attributes["connection"] = connection
        known = {step.revision for step in ScriptDirectory.from_config(config).walk_revisions()}
        held = set(MigrationContext.configure(connection).get_current_heads())
        if held - known:
            raise StoreError(
                f"{place}: got step {', '.join(sorted(held - known))}; allowed: steps up to "
                f"{max(known)}. A newer Restmark wrote this directory: use that one, or give "
                "another directory."
            )
        command.upgrade(config, "head")
