"""The page in a real browser: it keeps itself new, says what to do, and lets nothing in."""

import json
import re
from datetime import UTC, datetime

import pytest
from api_kit import CALIBRATION, FAR, INTENT, Client, after, layout, running, still
from page_kit import Tab
from playwright.sync_api import expect

from service.desk.session import SessionAttempt, SessionStill, load_session
from service.position import Intent, landing_zone, score_shot
from service.words.lengths import Units

SIZES_PX = {"wall": (1920, 1080), "laptop": (1280, 800), "phone": (390, 800)}
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
    expect(page.locator(".steps .now .step-name")).to_have_text("Calibration")
    expect(page.locator(".advice")).to_contain_text("restmark calibrate empty.jpg")
    expect(page.locator("#top-view svg")).to_have_count(0)

    client.calibrate()
    expect(verdict_of(page)).to_have_text("Waiting for the first still")
    expect(page.locator(".steps .now .step-name")).to_have_text("Still before the shot")
    expect(page.locator(".advice")).to_contain_text("POST /api/v1/stills")

    client.give(still(), "before.jpg")
    expect(verdict_of(page)).to_have_text("4 balls on the table")
    expect(page.locator("#top-view svg")).to_be_visible()
    expect(page.locator("#top-view svg")).to_contain_text("Ball 3 at 2100, 900 mm")
    expect(page.locator("#still img")).to_have_js_property("naturalWidth", 640)
    expect(page.locator("#balls tbody tr")).to_have_count(4)
    expect(page.locator("#balls tbody tr").first).to_contain_text("4.72, 1.26")
    expect(page.locator(".steps .now .step-name")).to_have_text("Intent")
    expect(page.locator(".advice")).to_contain_text("PUT /api/v1/intent")

    client.put("/intent", json=INTENT | {"route_mm": [[2055, 865], [670, 960]]})
    expect(verdict_of(page)).to_have_text("Play the shot")
    expect(page.locator("#verdict .subline")).to_contain_text("Pot 3 in the foot left, leave 4")
    expect(page.locator(".steps .now .step-name")).to_have_text("Still after the shot")

    verdict = client.give(still(after()), "after.jpg").json()["attempt"]["verdict"]
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm']:.0f} mm")
    expect(page.locator("#verdict")).to_have_attribute("data-tone", "out")
    expect(page.locator("#verdict .subline")).to_contain_text(
        f"{abs(verdict['along_mm']):.0f} mm short · {abs(verdict['across_mm']):.0f} mm left"
    )
    expect(page.locator("#facts")).to_contain_text("2300.0, 200.0 mm")
    expect(page.locator("#facts")).to_contain_text("7.24, 0.63 diamonds")
    expect(page.locator("#top-view svg")).to_contain_text("Out by")
    expect(page.locator("#attempts tbody tr")).to_have_count(1)
    expect(page.locator("#attempts tbody tr")).to_contain_text("before.jpg → after.jpg")
    expect(page.locator("#summary")).to_contain_text("0 of 1")
    expect(page.locator("#summary")).to_contain_text("95 % interval 0 to 79 %")

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
    expect(page.locator("#attempts .empty")).to_be_visible()
    expect(page.locator(".steps .now .step-name")).to_have_text("Still after the shot")


def test_a_doubtful_name_is_said_with_what_else_it_may_be(page, client):
    doubtful = layout().to_dict()
    doubtful["balls"][1] |= {
        "doubtful": True,
        "confidence": 0.6,
        "runners_up": [{"id": "7", "confidence": 0.4}],
    }
    client.calibrate()
    client.give(still(type(layout()).from_dict(doubtful)))
    expect(page.locator("#balls .doubt")).to_contain_text("in doubt: 7?")


def test_names_from_outside_stay_text(page, client):
    client.calibrate()
    client.give(still(), NASTY)
    expect(page.locator("#still .file")).to_have_text(NASTY)
    expect(page.locator("#top-view svg > title")).to_contain_text(NASTY)
    client.put("/intent", json=INTENT)
    client.give(still(after()), NASTY)
    expect(page.locator("#attempts tbody tr")).to_contain_text(NASTY)
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


def test_sessions_over_weeks_stand_on_the_page(browser, tmp_path):
    fill_weeks(tmp_path, [1, 2, 3])
    with running(tmp_path) as address, Client(address) as client, Tab(browser, address) as page:
        section = page.locator("#progress")
        expect(section.locator("tbody tr")).to_have_count(3)
        expect(section.locator("tbody tr").first).to_contain_text("2026-10-15")
        expect(section.locator("svg circle")).to_have_count(3)
        expect(section).to_contain_text("Sessions until a trend can be claimed: at least 2")
        # a shot played now belongs to a new session, and the page shows it by itself
        client.round(after())
        expect(section.locator("tbody tr")).to_have_count(4)


def test_spin_is_noted_on_the_page(page, client):
    client.calibrate()
    client.round(after())
    expect(page.locator("select[name=spin]")).to_have_value("")
    page.locator("select[name=spin]").select_option("draw")
    expect(page.locator("#link")).to_have_text("Live")
    page.locator("select[name=rails]").select_option("1")
    expect(page.locator("select[name=rails] option[selected]")).to_have_text("1")
    expect(page.locator("select[name=spin]")).to_have_value("draw")
    kind = client.get("/attempts/1").json()["kind"]
    assert (kind["spin"], kind["side_spin"], kind["rails"]) == ("draw", None, 1)


def test_lengths_are_shown_as_the_reader_chose_and_the_browser_keeps_it(page, client):
    client.calibrate()
    verdict = client.round(after()).json()["attempt"]["verdict"]
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm']:.0f} mm")
    page.locator("#units").select_option("inches")
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm'] / 25.4:.1f} in")
    expect(page.locator("#top-view svg")).to_contain_text(f"{verdict['miss_mm'] / 25.4:.1f} in")
    expect(page.locator("#balls thead")).to_contain_text("x in")
    page.reload()
    expect(page.locator("#units")).to_have_value("inches")
    expect(verdict_of(page)).to_have_text(f"Out by {verdict['miss_mm'] / 25.4:.1f} in")


def test_a_choice_of_units_that_means_nothing_is_none(served, client):
    client.calibrate()
    answer = client.get(f"{served}parts", headers={"Cookie": "restmark-units=cubits"})
    assert answer.status_code == 200
    assert "x mm" in answer.text


def test_the_service_shows_its_own_units_until_a_reader_chooses(tmp_path):
    with running(tmp_path, units=Units.INCHES) as address, Client(address) as client:
        client.calibrate()
        assert "x in" in client.get(f"{address}parts").text
        chosen = client.get(f"{address}parts", headers={"Cookie": "restmark-units=mm"})
        assert "x mm" in chosen.text


def test_one_session_alone_shows_no_weeks(page, client):
    client.calibrate()
    client.round(after())
    expect(page.locator("#attempts tbody tr")).to_have_count(1)
    expect(page.locator("#progress")).to_be_hidden()


def fill_weeks(data_dir, hits):
    """A session of three attempts a week, so many of them in the zone."""
    intent = Intent.from_dict(INTENT)
    wanted = landing_zone(after(), intent, CALIBRATION.table).wanted_mm
    for week, count in enumerate(hits):
        stills, attempts = [], []
        for i in range(3):
            names = [f"{week}-{i}-before.jpg", f"{week}-{i}-after.jpg"]
            layouts = [layout(still=names[0]), after(wanted if i < count else FAR)]
            stills += [
                SessionStill(name=name, data=still(found), layout=found)
                for name, found in zip(names, layouts, strict=True)
            ]
            verdict = score_shot(*layouts, intent, CALIBRATION.table)
            attempts.append(
                SessionAttempt(before=names[0], after=names[1], intent=intent, verdict=verdict)
            )
        load_session(
            data_dir, CALIBRATION, stills=stills, attempts=attempts,
            played_at=datetime(2026, 10, 1 + 7 * week, 19, tzinfo=UTC),
        )  # fmt: skip


@pytest.mark.parametrize("size", SIZES_PX)
def test_it_fits_the_screen_in_light_and_dark(browser, served, client, tmp_path, size):
    client.calibrate()
    client.round(after())
    fill_weeks(tmp_path / "data", [1, 2, 3])
    width_px, height_px = SIZES_PX[size]
    grounds = set()
    for scheme in ("light", "dark"):
        settings = {
            "viewport": {"width": width_px, "height": height_px},
            "color_scheme": scheme,
        }
        with Tab(browser, served, **settings) as page:
            expect(page.locator("#top-view svg")).to_be_visible()
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width_px, f"{size} {scheme} scrolls sideways: {wide} px"
            verdict = page.locator("#verdict h1").bounding_box()
            assert verdict["y"] + verdict["height"] < height_px / 2, "the verdict comes first"
            grounds.add(page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    assert len(grounds) == 2


def test_a_loaded_page_needs_no_network(page, client):
    client.calibrate()
    client.round(after())
    expect(page.locator("#attempts tbody tr")).to_have_count(1)
    html = page.content()
    outside = re.findall(r"""(?:src|href)=["'](https?://[^"']+)""", html)
    assert outside == []


def test_the_page_about_the_api_names_every_address(browser, served, client):
    with Tab(browser, served) as page:
        page.goto(f"{served}docs")
        for path in client.get("/openapi.json").json()["paths"]:
            expect(page.get_by_text(path, exact=True).first).to_be_visible()
