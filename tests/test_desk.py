"""The desk by itself: no HTTP, and its refusals are told apart by code."""

from __future__ import annotations

import subprocess
import sys

import pytest
from api_kit import CALIBRATION, INTENT, after, stand_in_read, still
from store_kit import open_store

from calibration.errors import RestmarkError
from service.api.kinds import KINDS
from service.desk.arriving import Upload
from service.desk.desk import Desk
from service.desk.live import Live

BOTH_DATABASES = True
IMPORTED = (
    "import sys, service.desk.desk, service.desk.session, service.desk.scene, service.desk.sums, "
    "service.desk.names.said, service.desk.watching.watches; "
    "print(*{name.split('.')[0] for name in sys.modules} | set(sys.modules))"
)


@pytest.fixture
def desk(data):
    store = open_store(data, hold=True)
    desk = Desk(store, Live(store), stand_in_read)
    yield desk
    desk.close()


def test_it_is_used_without_the_service_and_its_pages():
    done = subprocess.run(
        [sys.executable, "-c", IMPORTED], capture_output=True, text=True, check=True
    )
    loaded = set(done.stdout.split())
    assert "service.desk.desk" in loaded
    assert loaded.isdisjoint({"fastapi", "starlette", "jinja2", "service.api", "service.pages"})


def test_a_round_without_http(desk):
    desk.set_calibration(CALIBRATION.to_dict())
    desk.take_still(Upload(data=still(), name="before.jpg"))
    desk.set_intent(INTENT)
    body, is_replay = desk.take_still(Upload(data=still(after()), name="after.jpg"))
    assert body["attempt"]["verdict"]["verdict"] == "out"
    assert not is_replay


def test_refusals_have_codes_that_the_service_knows(desk):
    def code_of(work, *given):
        with pytest.raises(RestmarkError) as refused:
            work(*given)
        assert refused.value.code in KINDS
        return refused.value.code

    upload = Upload(data=still(), name="one.jpg", key="k")
    assert code_of(desk.take_still, upload) == "no-calibration"
    assert code_of(desk.set_intent, INTENT) == "no-calibration"
    desk.set_calibration(CALIBRATION.to_dict())
    assert code_of(desk.set_intent, INTENT) == "no-layout"
    assert code_of(desk.withdraw_intent) == "no-intent"
    desk.take_still(upload)
    other = Upload(data=still(after()), name="one.jpg", key="k")
    assert code_of(desk.take_still, other) == "idempotency-key-reused"
    assert code_of(desk.correct_names, 1, {}) == "bad-correction"
    assert code_of(desk.set_player, {"format": "restmark-player", "version": 1, "x": 1}) == (
        "bad-player"
    )
