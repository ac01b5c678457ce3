"""The practice page in a real browser: it keeps itself new, says what to do, lets nothing in."""

import json
import re
import time

import pytest
from api_kit import CALIBRATION, FAR, INTENT, Client, after, layout, running, still
from page_kit import Tab
from playwright.sync_api import expect

from service.words.lengths import Units
from vision.layout import Layout

NOTED_S = 10
"""On a busy machine."""
RECONNECT_MS = 15_000
"""A browser waits some seconds before it connects again."""
NASTY = "<img src=x onerror=alert(1)>&\"'.jpg"


@pytest.fixture
def client(served):
    with Client(served) as client:
        yield client


@pytest.fixture
def page(browser, served):
    """The open page; in the end it must not have complained or asked anyone else."""
    with Tab(browser, served) as page:
        yield page


def verdict_of(page):
    return page.locator("#verdict h1")


def test_still_intent_still_without_a_reload(page, client):
    live = page.locator("#verdict").element_handle()
    expect(verdict_of(page)).to_have_text("No calibration yet")
    expect(page.locator("#top-view svg")).to_have_count(0)
    expect(page.locator("#plan")).to_be_hidden()

    client.calibrate()
    expect(verdict_of(page)).to_have_text("Waiting for the first still")
    expect(page.locator("#verdict .subline")).to_contain_text("balls at rest")

    client.give(still(), "before.jpg")
    expect(verdict_of(page)).to_have_text("4 balls on the table")
    expect(page.locator("#top-view svg")).to_be_visible()
    expect(page.locator("#top-view svg")).to_contain_text("Ball 3 at 2100, 900 mm")
    expect(page.locator("#plan-now")).to_have_text("Tap the ball to pot")

    client.put("/intent", json=INTENT | {"route_mm": [[2055, 865], [670, 960]]})
    expect(verdict_of(page)).to_have_text("Play the shot")
    expect(page.locator("#verdict .subline")).to_contain_text("Pot 3 in the foot left, leave 4")
    expect(page.locator("#plan-now")).to_have_text("Play the shot")
    expect(page.locator(".plan-zone")).to_have_count(1)

    verdict = client.give(still(after()), "after.jpg").json()["attempt"]["verdict"]
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm']:.0f} mm")
    expect(page.locator("#verdict")).to_have_attribute("data-tone", "out")
    expect(page.locator("#verdict .subline")).to_contain_text(
        f"{abs(verdict['along_mm']):.0f} mm short · {abs(verdict['across_mm']):.0f} mm left"
    )
    chance = f"{100 * verdict['pot_chance']:.0f} %"
    expect(page.locator("#cost .figure")).to_contain_text(f"{chance} chance of potting ball 4")
    expect(page.locator("#cost")).to_contain_text("fewer than from the best place in the zone")
    expect(page.locator("#cost")).to_contain_text("Assumed, not measured on you: aim and reach")
    page.locator("#figures summary").click()
    expect(page.locator("#figures")).to_contain_text("2300.0, 200.0 mm")
    expect(page.locator("#figures")).to_contain_text("7.24, 0.63 diamonds")
    expect(page.locator("#top-view .miss title")).to_contain_text("outside the zone by")
    expect(page.locator(".recent li")).to_have_count(1)
    # the next shot can be planned without another touch
    expect(page.locator("#plan-now")).to_have_text("Tap the ball to pot")

    assert page.evaluate("window.isStillTheFirst") is True, "the page was not loaded again"
    assert live.evaluate("old => old === document.getElementById('verdict')")
    expect(page.locator("#verdict")).to_have_attribute("aria-live", "polite")


def test_an_obstructed_still_is_said_plainly(page, client):
    client.calibrate()
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    client.give(still(after(obstructed=True)), "arm.jpg")
    expect(verdict_of(page)).to_have_text("Something is over the table")
    expect(page.locator("#verdict .subline")).to_contain_text("Not compared")
    expect(page.locator(".recent")).to_have_count(0)
    expect(page.locator("#plan-now")).to_have_text("Play the shot")


def test_a_doubtful_name_is_said_with_what_else_it_may_be(page, client):
    doubtful = layout().to_dict()
    doubtful["balls"][1] |= {
        "doubtful": True,
        "confidence": 0.6,
        "runners_up": [{"id": "7", "confidence": 0.4}],
    }
    client.calibrate()
    client.give(still(type(layout()).from_dict(doubtful)))
    expect(page.locator("#doubts button").nth(1)).to_have_text("740 %")
    page.locator("#names summary").click()
    expect(page.locator("#balls .doubtful")).to_contain_text("in doubt: 7?")


def test_names_from_outside_stay_text(page, client):
    client.calibrate()
    client.give(still(), NASTY)
    page.locator("#still summary").click()
    expect(page.locator("#still .file")).to_have_text(NASTY)
    expect(page.locator("#top-view svg > title")).to_contain_text(NASTY)
    client.put("/intent", json=INTENT)
    client.give(still(after()), NASTY)
    expect(page.locator(".recent li")).to_have_count(1)
    assert page.locator("img[src=x]").count() == 0


def test_calibration_and_still_can_be_sent_from_the_page(page, client, tmp_path):
    table, shot = tmp_path / "table.json", tmp_path / "a shot & more.jpg"
    table.write_text(json.dumps(CALIBRATION.to_dict()))
    shot.write_bytes(still())
    page.locator("input[data-send^=PUT]").set_input_files(table)
    expect(verdict_of(page)).to_have_text("Waiting for the first still")
    page.locator("input[data-send^=POST]").set_input_files(shot)
    expect(verdict_of(page)).to_have_text("4 balls on the table")
    expect(page.locator("#still .file")).to_have_text("a shot & more.jpg")
    expect(page.locator("#link")).to_have_text("Live")


def test_a_refusal_is_shown_on_the_page(browser, served, client, tmp_path):
    client.calibrate()
    (tmp_path / "text.jpg").write_text("no picture")
    tab = Tab(browser, served)
    with tab as page:
        page.locator("input[data-send^=POST]").set_input_files(tmp_path / "text.jpg")
        expect(page.locator("#link")).to_contain_text("text.jpg: neither JPEG nor PNG")
        expect(verdict_of(page)).to_have_text("Waiting for the first still")
        expect(page.locator("#link")).to_have_attribute("data-state", "refused")
        # the browser itself notes the refused request
        assert [re.search(r"status of 422", text) is not None for text in tab.complaints] == [True]
        tab.complaints.clear()


def test_it_connects_again_and_catches_up(browser, tmp_path):
    with running(tmp_path) as address:
        tab = Tab(browser, address)
        page = tab.__enter__()
    port = int(address.rstrip("/").rsplit(":", 1)[1])
    expect(page.locator("#link")).to_have_attribute("data-state", "off")
    expect(page.locator("#link")).to_have_text("Connection lost, trying again …")
    with running(tmp_path, port=port) as address, Client(address) as client:
        client.calibrate()
        expect(verdict_of(page)).to_have_text("Waiting for the first still", timeout=RECONNECT_MS)
        expect(page.locator("#link")).to_have_text("Live")
        tab.complaints.clear()  # the browser itself notes the lost connection
        tab.__exit__(None, None, None)


def test_a_shot_that_is_planned_outlives_a_restart(browser, tmp_path):
    with running(tmp_path) as address, Client(address) as client:
        client.calibrate()
        client.give(still(), "before.jpg")
        tab = Tab(browser, address)
        page = tab.__enter__()
        page.locator("#plan-choices [data-choice='3']").click()
        page.locator("#plan-choices [data-choice='foot-left']").click()
    port = int(address.rstrip("/").rsplit(":", 1)[1])
    expect(page.locator("#link")).to_have_attribute("data-state", "off")
    with running(tmp_path, port=port) as address, Client(address) as client:
        expect(page.locator("#link")).to_have_text("Live", timeout=RECONNECT_MS)
        page.locator("#plan-choices [data-choice='4']").click()
        page.locator("#plan-choices [data-choice='side-right']").click()
        expect(page.locator("#plan-now")).to_have_text("Play the shot")
        expect(page.locator("#plan-withdraw")).to_be_visible()
        assert client.get("/intent").json()["intent"]["pot"] == "3"
        tab.complaints.clear()
        tab.__exit__(None, None, None)


def test_spin_and_rails_are_noted_by_taps(page, client):
    client.calibrate()
    client.round(after())
    page.locator("#note-spin-draw").click()
    expect(page.locator("#note-spin-draw")).to_have_attribute("aria-pressed", "true")
    page.locator("#note-rails-1").click()
    page.locator("#note-spin-stun").click()
    expect(page.locator("#note-spin-draw")).to_have_attribute("aria-pressed", "false")
    assert noted(client, ("stun", None, 1))
    page.locator("#note-spin-stun").click()
    page.locator("#note-rails-2").click()
    assert noted(client, (None, None, 2))
    page.reload()
    expect(page.locator("#note-spin-stun")).to_have_attribute("aria-pressed", "false")
    expect(page.locator("#note-rails-2")).to_have_attribute("aria-pressed", "true")


def noted(client, wanted):
    """Whether the attempt's note becomes that: taps are sent one after another."""
    give_up = time.monotonic() + NOTED_S
    while time.monotonic() < give_up:
        kind = client.get("/attempts/1").json()["kind"]
        if (kind["spin"], kind["side_spin"], kind["rails"]) == wanted:
            return True
        time.sleep(0.05)
    return False


def test_lengths_are_shown_as_the_reader_chose_and_the_browser_keeps_it(page, client):
    client.calibrate()
    verdict = client.round(after()).json()["attempt"]["verdict"]
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm']:.0f} mm")
    page.get_by_role("button", name="This screen").click()
    page.locator("#units").select_option("inches")
    page.get_by_role("button", name="Done").click()
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm'] / 25.4:.1f} in")
    expect(page.locator("#top-view svg")).to_contain_text(f"{verdict['miss_mm'] / 25.4:.1f} in")
    expect(page.locator("#balls thead")).to_contain_text("x in")
    page.reload()
    expect(page.locator("#units")).to_have_value("inches")
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm'] / 25.4:.1f} in")


def test_the_service_shows_its_own_units_until_a_reader_chooses(tmp_path):
    with running(tmp_path, units=Units.INCHES) as address, Client(address) as client:
        client.calibrate()
        client.give(still())
        assert "x in" in client.get(f"{address}parts").text
        chosen = client.get(f"{address}parts", headers={"Cookie": "restmark-units=mm"})
        assert "x mm" in chosen.text


def test_a_name_in_doubt_is_settled_by_one_tap(page, client):
    document = layout().to_dict()
    document["balls"][1] |= {
        "doubtful": True,
        "confidence": 0.6,
        "runners_up": [{"id": "11", "confidence": 0.3}],
    }
    client.calibrate()
    client.give(still(Layout.from_dict(document)), "doubtful.jpg")
    expect(page.locator("#doubts .doubt")).to_have_count(1)
    page.locator("#doubts [data-name='11']").click()
    expect(page.locator("#doubts")).to_be_hidden()
    balls = client.get("/readings/latest").json()["layout"]["balls"]
    assert {ball["id"]: ball["doubtful"] for ball in balls}["11"] is False
    expect(page.locator(".ball[data-ball='11']")).to_have_count(1)


def test_the_table_is_turned_by_quarters_and_the_browser_keeps_it(page, client):
    client.calibrate()
    client.give(still())
    box = page.locator("#top-view svg").bounding_box()
    assert box["width"] > box["height"]
    page.locator("#turn").click()
    expect(page.locator("#top-view")).to_have_attribute("data-scene", re.compile('"turn": 1'))
    box = page.locator("#top-view svg").get_attribute("viewBox").split()
    assert float(box[2]) < float(box[3])
    page.reload()
    expect(page.locator("#top-view")).to_have_attribute("data-scene", re.compile('"turn": 1'))


def test_the_verdict_is_said_and_sounded_only_where_that_was_chosen(browser, served, client):
    client.calibrate()
    spoken = """() => {
      window.spoken = [];
      speechSynthesis.speak = (said) => spoken.push(said.text);
    }"""
    with Tab(browser, served) as page:
        page.evaluate(spoken)
        client.round(after())
        expect(verdict_of(page)).to_contain_text("Out by")
        assert page.evaluate("spoken") == []
        page.get_by_role("button", name="This screen").click()
        page.get_by_text("Say the verdict aloud").click()
        page.get_by_role("button", name="Done").click()
        client.round(after((FAR[0] - 40, FAR[1])))
        expect(page.locator(".recent li")).to_have_count(2)
        assert page.evaluate("spoken[0]").startswith("Out by")
        page.reload()
        page.evaluate(spoken)
        # a tab that closes while its first questions are under way complains
        page.wait_for_load_state("networkidle")
        expect(page.locator("#link")).to_have_text("Live")
        assert page.evaluate("spoken") == [], "what was there before is not said again"


def test_an_open_part_stays_open_when_something_new_comes(page, client):
    client.calibrate()
    client.give(still(), "one.jpg")
    page.locator("#names summary").click()
    page.locator("#pick-3").focus()
    client.give(still(layout({"cue": (1400.0, 400.0), "3": (2100.0, 900.0)})), "two.jpg")
    expect(page.locator("#balls tbody tr")).to_have_count(2)
    expect(page.locator("#names")).to_have_attribute("open", "")
    assert page.evaluate("document.activeElement.id") == "pick-3"


def test_the_page_about_the_api_names_every_address(browser, served, client):
    with Tab(browser, served) as page:
        page.goto(f"{served}docs")
        for path in client.get("/openapi.json").json()["paths"]:
            expect(page.get_by_text(path, exact=True).first).to_be_visible()
