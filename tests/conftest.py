"""Fixtures of the tests that drive the page in a real browser."""

import pytest
from api_kit import running
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
