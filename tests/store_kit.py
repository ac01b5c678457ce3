"""Stores on either database, and a directory brought back to what an older release left."""

from importlib.resources import files
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from service.store import Store

URLS: dict[Path, str] = {}
"""The database of a data directory, where it is another than a file in it."""


def open_store(data_dir: Path, **more: bool) -> Store:
    """The store on that directory and its database."""
    return Store(data_dir, URLS.get(data_dir), **more)


def engine_of(data_dir: Path) -> sa.Engine:
    """A look at its database past the store."""
    return sa.create_engine(URLS.get(data_dir, f"sqlite:///{data_dir / 'restmark.db'}"))


def change_past_the_store(data_dir: Path, statement: str, **values: object) -> None:
    """Run that statement on its database."""
    engine = engine_of(data_dir)
    with engine.begin() as connection:
        connection.execute(sa.text(statement), values)
    engine.dispose()


def step_back(data_dir: Path, step: str) -> None:
    """Bring a directory back to that numbered step."""
    engine = engine_of(data_dir)
    with engine.begin() as connection:
        command.downgrade(_steps_on(connection), step)
    engine.dispose()


def step_up(engine: sa.Engine, step: str) -> None:
    """Bring an empty database up to that numbered step, as its release did."""
    with engine.begin() as connection:
        command.upgrade(_steps_on(connection), step)


def _steps_on(connection: sa.Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(files("service.store") / "migrations"))
    config.attributes["connection"] = connection
    return config
