"""This device's own camera on the set-up page: a film of the sample stands before the browser."""

import json

import pytest
from api_kit import Client, running
from camera_kit import browser_with_camera, film, picture
from page_kit import Tab
from playwright.sync_api import expect
from setup_kit import EMPTY, HEIGHT, SHOT, keep, propose

from vision.read import read_still

SLOW_MS = 60_000
TABLET = {"viewport": {"width": 1180, "height": 820}, "has_touch": True}


@pytest.fixture
def real(tmp_path):
    """Address of a service with the real reader and an empty data folder."""
    with running(tmp_path / "data", read=read_still) as address:
        yield address


def passing(still, share):
    """The still while an arm passes over it."""
    over = still.copy()
    left = int(share * still.shape[1])
    over[:, left : left + 200] = (90, 120, 160)
    return over


def test_this_devices_camera(real, tmp_path):
    video = film(tmp_path / "table.y4m", picture(EMPTY))
    with (
        browser_with_camera(video) as browser,
        Tab(browser, real, permissions=["camera"], **TABLET) as page,
        Client(real) as client,
    ):
        page.goto(f"{real}setup")
        page.locator("[name=source][value=device]").check()
        page.locator("#device-start").tap()
        expect(page.locator("#live-video")).to_be_visible()
        page.get_by_role("link", name="Next: the table").tap()
        page.locator("#camera-height").fill(HEIGHT)
        page.get_by_role("link", name="Next: the empty table").tap()
        page.get_by_role("button", name="Take the still now").locator("visible=true").tap()
        page.locator("#head label", has_text="left").tap()
        expect(page.locator("#empty-headline")).to_contain_text("Good enough", timeout=SLOW_MS)
        page.locator("#adopt").tap()
        expect(page.locator("#empty-headline")).to_contain_text("This calibration holds now.")
        assert client.get("/calibration").json()["image_size_px"] == [1920, 1080]


def test_a_camera_that_may_not_be_used_is_said(real, tmp_path):
    video = film(tmp_path / "table.y4m", picture(EMPTY))
    with browser_with_camera(video) as browser, Tab(browser, real) as page:
        page.goto(f"{real}setup")
        page.locator("[name=source][value=device]").check()
        page.locator("#device-start").click()
        expect(page.locator("#source-refusal")).to_have_text(
            "The browser may not use the camera. Allow it beside the address, and start again."
        )


def test_every_rest_after_a_movement_is_posted(real, tmp_path):
    with Client(real) as client:
        body = propose(client, keep(client, EMPTY), camera_height=HEIGHT)
        client.post(f"/setup/calibrations/{body['id']}/adopt")
    before, after = picture(SHOT), picture(SHOT.with_name("shot-01-after.jpg"))
    arm = [passing(before, share) for share in (0.1, 0.4, 0.7)]
    video = film(tmp_path / "play.y4m", *[before] * 9, *arm, *[after] * 9, *arm, rate_hz=3)
    with (
        browser_with_camera(video) as browser,
        Tab(browser, real, permissions=["camera"], **TABLET) as page,
        Client(real) as client,
    ):
        page.goto(f"{real}setup")
        page.locator("[name=source][value=device]").check()
        page.locator("#watch-start").tap()
        expect(page.locator("#watch-said")).to_contain_text("2 stills taken", timeout=SLOW_MS)
        page.locator("#watch-stop").tap()
        expect(page.locator("#watch-start")).to_be_visible()
        readings = client.get("/readings").json()["readings"]
        assert len(readings) >= 2
        said = json.loads((SHOT.parent / "truth.json").read_text())["stills"]
        counts = {len(each["balls"]) for name, each in said.items() if name.startswith("shot-01")}
        assert {len(each["layout"]["balls"]) for each in readings} <= counts
        assert not any(each["layout"]["obstructed"] for each in readings)
