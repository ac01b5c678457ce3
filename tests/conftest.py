"""Fixtures of the tests that drive a service, or its page in a real browser."""

import pytest
from api_kit import Client, running
from page_kit import chromium


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture
def served(tmp_path):
    """Address of a service with an empty store."""
    with running(tmp_path / "data") as address:
        yield address


@pytest.fixture
def data(tmp_path):
    """A service's folder, not yet made."""
    return tmp_path / "data"


@pytest.fixture
def client(data):
    """A program that talks to a calibrated service on ``data``."""
    with running(data) as address, Client(address) as client:
        client.calibrate()
        yield client
