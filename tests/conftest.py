"""Fixtures of the tests that drive a store, a service, or its page in a real browser.

A module with ``BOTH_DATABASES = True`` runs on SQLite and on PostgreSQL, test by test.
"""

import pytest
from api_kit import Client, running
from desk_kit import AtTheTable
from page_kit import chromium
from postgres_kit import cluster
from store_kit import URLS, Store


def pytest_generate_tests(metafunc):
    """Which databases a test's store lies in."""
    if "database" in metafunc.fixturenames and getattr(metafunc.module, "BOTH_DATABASES", False):
        metafunc.parametrize("database", ("sqlite", "postgresql"), indirect=True)


@pytest.fixture(scope="session")
def postgres():
    """A throw-away PostgreSQL server, with a database ``filled`` that has all the tables."""
    with cluster() as server:
        server.ask("CREATE DATABASE filled")
        yield server


@pytest.fixture(scope="session")
def filled_postgres(postgres, tmp_path_factory):
    """Name of its database that has all the tables and no rows but the first ones."""
    Store(tmp_path_factory.mktemp("filled"), postgres.url("filled")).close()
    return "filled"


@pytest.fixture
def database(request):
    """Address of an empty store's database; None: a file in its directory."""
    if getattr(request, "param", "sqlite") == "sqlite":
        return None
    server = request.getfixturevalue("postgres")
    return server.database(like=request.getfixturevalue("filled_postgres"))


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture
def served(data):
    """Address of a service with an empty store."""
    with running(data) as address:
        yield address


@pytest.fixture
def data(tmp_path, database):
    """A service's folder, not yet made."""
    folder = tmp_path / "data"
    if database is not None:
        URLS[folder] = database
    yield folder
    URLS.pop(folder, None)


@pytest.fixture
def at_table(data):
    """A desk with one calibrated table, and what happens there."""
    table = AtTheTable(data)
    yield table
    table.desk.close()


@pytest.fixture
def client(data):
    """A program that talks to a calibrated service on ``data``."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        yield client
