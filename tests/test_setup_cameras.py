"""A further camera over the same table, set up by taps; the first one stays as it is."""

import re
import time

import pytest
from api_kit import Client, assert_problem, running
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect
from setup_kit import EMPTY, HEIGHT, PATIENCE_S, keep, propose

from vision.read import read_still

SLOW_MS = 60_000
"""Working a calibration out takes two seconds on a quiet machine."""
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
TOUCH_PX = 44
SMALL = f"""() => [...document.querySelectorAll('#main a, #main button, #main select, '
    + '#main summary, #main .choice, #main .heads label, #main input[type=number]')]
    .filter(one => one.checkVisibility())
    .map(one => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().height])
    .filter(([, high]) => high < {TOUCH_PX} - 0.5)"""


@pytest.fixture
def real(tmp_path):
    """Address of a service with the real reader and an empty data folder."""
    with running(tmp_path / "data", read=read_still) as address:
        yield address


@pytest.fixture
def pictures(tmp_path, monkeypatch):
    """A folder that the page offers by a tap; the empty table's still lies in it."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    folder = tmp_path / "home" / "Pictures"
    folder.mkdir(parents=True)
    (folder / "empty.jpg").write_bytes(EMPTY.read_bytes())
    return folder


def calibrate(client: Client, **more: object) -> dict:
    """The first camera's calibration, which holds from then on."""
    body = propose(client, keep(client, EMPTY), camera_height=HEIGHT, **more)
    adopted = client.post(f"/setup/calibrations/{body['id']}/adopt")
    assert adopted.status_code == 200, adopted.text
    return adopted.json()


def fits(page):
    """Nothing is cut off, too small for a finger, or hard to reach."""
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert page.evaluate(SMALL) == []
    assert violations(page) == []


def test_a_second_camera_is_set_up_by_taps(browser, real, pictures):
    with Tab(browser, real, **PHONE) as page, Client(real) as client:
        first = calibrate(client)
        page.goto(f"{real}setup")
        choices = page.locator(".cameras a")
        expect(choices).to_have_text(["The first calibrated", "The second not calibrated yet"])
        fits(page)
        choices.filter(has_text="The second").tap()
        expect(page.locator("h1")).to_have_text("Set-up: the second camera")
        expect(page.locator("#link")).to_have_text("Live")
        expect(page.locator("[data-state-of=empty]")).to_have_text("not yet")
        fits(page)

        page.locator(".choice", has_text="A folder").tap()
        page.get_by_role("button", name=pictures.name, exact=True).tap()
        expect(page.locator("#live-image")).to_be_visible()
        page.get_by_role("link", name="Next: the table").tap()
        expect(page.locator("[name=surface]")).to_have_count(1)
        expect(page.locator("[name=surface]")).to_be_checked()
        page.locator("#height-slide").fill(HEIGHT)
        fits(page)
        page.get_by_role("link", name="Next: the empty table").tap()
        page.get_by_role("button", name="Take the newest still").locator("visible=true").tap()
        page.locator("#head label", has_text="left").tap()
        expect(page.locator("#adopt")).to_be_visible(timeout=SLOW_MS)
        page.locator("#adopt").tap()
        expect(page.locator("#empty-headline")).to_contain_text("This calibration holds now.")
        expect(page.locator("[data-state-of=empty]")).to_have_text("done")
        fits(page)

        second = client.get("/calibration", params={"camera": "second"}).json()
        assert second["camera"] == "second"
        assert second["calibration"]["table"] == first["calibration"]["table"]
        assert client.get("/calibration").json() == first

        page.get_by_role("link", name="Next: watch for shots with it").tap()
        expect(choices).to_have_text(["The first calibrated", "The second calibrated"])
        page.locator("#watch-start").tap()
        expect(page.locator("#watch-said")).to_contain_text("Watching")
        assert client.get("/watch", params={"camera": "second"}).json()["state"] == "watching"
        assert client.get("/watch").json()["state"] == "stopped"
        fits(page)

        # what was chosen and taken for one camera is never shown for another
        choices.filter(has_text="The first").tap()
        expect(page.locator("h1")).to_have_text("Set-up")
        expect(page.locator("#link")).to_have_text("Live")
        expect(page.locator("#watch-start")).to_be_hidden()
        expect(page.locator("#watch-said")).to_have_text("")
        expect(choices).to_have_text(
            ["The first calibrated", "The second calibrated", "The third not calibrated yet"]
        )
        page.locator("[data-step=empty]").tap()
        expect(page.locator("#empty-view")).to_be_hidden()

        # it hangs there no longer
        page.goto(f"{real}setup?camera=second#picture")
        expect(page.locator("#link")).to_have_text("Live")
        page.get_by_text("It hangs here no longer").tap()
        fits(page)
        page.get_by_role("button", name="Take the second camera away").tap()
        expect(page.locator("h1")).to_have_text("Set-up")
        expect(choices).to_have_text(["The first calibrated", "The second not calibrated yet"])
        assert client.get("/calibration", params={"camera": "second"}).status_code == 404
        assert client.get("/watch", params={"camera": "second"}).json()["state"] == "stopped"


def test_a_measured_table_is_measured_once(browser, real):
    with Tab(browser, real) as page, Client(real) as client:
        calibrate(client, surface="2541x1271")
        page.goto(f"{real}setup?camera=by%20the%20door#table")
        expect(page.locator("h1")).to_have_text("Set-up: camera by the door")
        expect(page.locator("#surface .choice")).to_have_text("Measured2541 × 1271 mm")
        page.locator("#height-slide").fill(HEIGHT)
        page.get_by_role("link", name="Next: the empty table").click()
        page.locator("#file-empty").set_input_files(EMPTY)
        page.locator("#head label", has_text="left").click()
        expect(page.locator("#adopt")).to_be_visible(timeout=SLOW_MS)
        page.locator("#adopt").click()
        expect(page.locator("#empty-headline")).to_contain_text("This calibration holds now.")
        held = client.get("/calibration", params={"camera": "by the door"}).json()
        assert held["surface_mm"] == [2541.0, 1271.0]


def test_the_first_camera_comes_first(browser, real):
    with Tab(browser, real) as page:
        page.goto(f"{real}setup?camera=second")
        expect(page.locator("#main")).to_contain_text("The first camera is calibrated first")
        assert violations(page) == []
        page.get_by_role("link", name="Set up the first camera").click()
        expect(page.locator("h1")).to_have_text("Set-up")
        expect(page.locator("#picture")).to_be_visible()


def test_a_proposal_is_adopted_for_the_camera_that_is_named(real):
    with Client(real) as client:
        body = propose(client, keep(client, EMPTY), camera_height=HEIGHT)
        path, second = f"/setup/calibrations/{body['id']}/adopt", {"camera": "second"}
        assert_problem(client.post(path, params=second), 409, "no-calibration")
        first = client.post(path).json()
        adopted = client.post(path, params=second).json()
        assert (first["camera"], adopted["camera"]) == ("overhead", "second")
        assert client.get("/calibration", params=second).json() == adopted
        assert client.get("/calibration").json() == first
        other = propose(client, keep(client, EMPTY), camera_height=HEIGHT, surface="2543x1271")
        refused = client.post(f"/setup/calibrations/{other['id']}/adopt", params=second)
        assert_problem(refused, refused.status_code, "other-table")
        assert refused.status_code >= 400
        assert client.get("/calibration", params=second).json() == adopted
        assert_problem(client.post(path, params={"camera": " "}), 422, "invalid-request")


def test_the_strip_leads_to_the_camera_that_wants_a_look(tmp_path):
    with running(tmp_path / "data") as address, Client(address) as client:
        client.calibrate()
        held = client.get("/calibration").json()["calibration"]
        assert client.put("/calibration", params={"camera": "a&b"}, json=held).status_code == 200
        away = {"source": "rtsp://127.0.0.1:9/none"}
        assert client.put("/watch", params={"camera": "a&b"}, json=away).status_code == 200
        give_up = time.monotonic() + PATIENCE_S
        while "is away" not in (strip := client.get(f"{address}strip").text):
            assert time.monotonic() < give_up, strip
            time.sleep(0.1)
        (link,) = re.findall(r'href="(/setup[^"]*)"', strip)
        assert link == "/setup?camera=a%26b"
        assert "Set-up: camera a&amp;b" in client.get(f"{address}{link[1:]}").text


@pytest.mark.parametrize("camera", ["", "%20", "a%0Ab", "x" * 101])
def test_a_name_that_cannot_be_has_no_page(real, camera):
    with Client(real) as client:
        answer = client.get(f"{real}setup?camera={camera}")
        assert answer.status_code in (404, 422)
