"""The whole way on sample stills: table file, still, intent, still, verdict, page."""

import json
import math

import pytest
from api_kit import Client, running
from page_kit import Tab, chromium
from playwright.sync_api import expect

from service.demo.samples import SHOTS_FOLDER, sample_folder
from service.position import Intent, landing_zone, score_shot
from service.practice import Plan
from vision.layout import Layout
from vision.read import read_still
from vision.truth.file import read_truth

STOP_MM = 5.0
"""A stop farther off its truth than this is a wrong one; the reading itself is held to less."""
READ_MS = 20_000
"""A reading on a busy machine."""
SHOT = 1


@pytest.fixture(scope="module")
def shot():
    """A shot of the sample practice: bytes, intent, truth."""
    folder = sample_folder(SHOTS_FOLDER)
    truth = read_truth(folder)
    names = [f"shot-{SHOT:02d}-{when}.jpg" for when in ("before", "after")]
    return {
        "names": names,
        "data": [(folder / name).read_bytes() for name in names],
        "truth": [truth[name] for name in names],
        "intent": Plan.read(folder / "plan.json").intent(SHOT),
    }


@pytest.fixture(scope="module")
def answers(shot, tmp_path_factory):
    """What the service answers to the shot, read with the true calibration."""
    calibration = shot["truth"][0].calibration
    with (
        running(tmp_path_factory.mktemp("practice"), read=read_still) as address,
        Client(address) as client,
    ):
        assert client.put("/calibration", json=calibration.to_dict()).status_code == 200
        before = client.give(shot["data"][0], shot["names"][0])
        intent = client.put("/intent", json=shot["intent"].to_dict())
        after = client.give(shot["data"][1], shot["names"][1])
        yield {
            "before": before.json(),
            "intent": intent.json(),
            "after": after.json(),
            "address": address,
        }


def layouts(answers):
    return [Layout.from_dict(answers[when]["reading"]["layout"]) for when in ("before", "after")]


def test_the_balls_are_those_that_lie_there(shot, answers):
    for layout, truth in zip(layouts(answers), shot["truth"], strict=True):
        assert {ball.id for ball in layout.balls} == {ball.id for ball in truth.balls}


def test_the_stop_is_where_the_cue_ball_lies(shot, answers):
    verdict = answers["after"]["attempt"]["verdict"]
    cue = next(ball for ball in shot["truth"][1].balls if ball.id == "cue")
    assert math.dist(verdict["cue_stop_mm"], (cue.x_mm, cue.y_mm)) <= STOP_MM


def test_the_verdict_is_that_of_the_two_layouts(shot, answers):
    before, after = layouts(answers)
    table = shot["truth"][0].table
    expected = score_shot(before, after, shot["intent"], table).to_dict()
    assert answers["after"]["attempt"]["verdict"] == json.loads(json.dumps(expected))
    zone = landing_zone(before, Intent.from_dict(answers["intent"]["intent"]), table)
    assert answers["intent"]["zone"] == json.loads(json.dumps(zone.to_dict()))


def test_the_page_shows_the_shot_as_it_is_played(shot, tmp_path):
    with (
        running(tmp_path, read=read_still) as address,
        Client(address) as client,
        chromium() as browser,
        Tab(browser, address) as page,
    ):
        headline = page.locator("#verdict h1")
        client.put("/calibration", json=shot["truth"][0].calibration.to_dict())
        client.give(shot["data"][0], shot["names"][0])
        expect(page.locator("#still .file")).to_have_text(shot["names"][0], timeout=READ_MS)
        page.locator("#still summary").click()
        expect(page.locator("#still img")).to_have_js_property(
            "naturalWidth", 1920, timeout=READ_MS
        )
        expect(page.locator("#balls tbody tr")).to_have_count(len(shot["truth"][0].balls))
        client.put("/intent", json=shot["intent"].to_dict())
        expect(headline).to_have_text("Play the shot")
        answer = client.give(shot["data"][1], shot["names"][1]).json()
        expect(page.locator("#still .file")).to_have_text(shot["names"][1], timeout=READ_MS)
        verdict = answer["attempt"]["verdict"]
        tone = {"in": "in", "out": "out", "too close to call": "close"}[verdict["verdict"]]
        expect(page.locator("#verdict")).to_have_attribute("data-tone", tone)
        expect(page.locator(".recent li")).to_have_count(1)
        stop_x, stop_y = verdict["cue_stop_mm"]
        expect(page.locator("#figures")).to_contain_text(f"{stop_x:.1f}, {stop_y:.1f} mm")
