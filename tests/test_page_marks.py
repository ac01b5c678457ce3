"""What a page says beside the verdict: marks, blind parts, set-ups, names, lost stills."""

from dataclasses import replace

import pytest
from api_kit import BEFORE, CALIBRATION, FAR, INTENT, Client, after, layout, still, taken
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect
from shapely import Point, Polygon

from service.drawing import top_view_svg
from service.drawing.error_map import error_map_svg
from service.setup.blind import Blind, outside_mm
from service.words.laying.guide import repeat_words
from service.words.set_up.proposal import blind_words
from vision.layout import Layout

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
LAMP = ((1100.0, 500.0), (1400.0, 500.0), (1400.0, 800.0), (1100.0, 800.0))
NARROW = replace(CALIBRATION, camera=replace(CALIBRATION.camera, image_size_px=(500, 360)))
"""The same camera whose picture ends before the foot of the table does."""
EACH_OTHER = (
    {"doubtful": True, "confidence": 0.5, "runners_up": [{"id": "9", "confidence": 0.4}]},
    {"doubtful": True, "confidence": 0.5, "runners_up": [{"id": "4", "confidence": 0.4}]},
)


@pytest.fixture
def client(served):
    with Client(served) as calls:
        calls.calibrate()
        yield calls


def names_at(client, number):
    balls = client.get(f"/readings/{number}").json()["layout"]["balls"]
    return {(ball["x_mm"], ball["y_mm"]): (ball["id"], ball["doubtful"]) for ball in balls}


def test_marks_are_explained_and_folded_on_a_phone(browser, served, client):
    client.round(after())
    with Tab(browser, served) as page:
        shown = page.locator("#legend li:visible")
        expect(shown.filter(has_text="miss, from the zone to the stop")).to_have_count(1)
        expect(shown.filter(has_text="landing zone")).to_have_count(0)
        assert page.locator("#legend li").count() == page.locator("#legend svg.swatch").count()
        page.locator("#plan-choices button").first.click()
        expect(shown.filter(has_text="chosen ball")).to_have_count(1)
        expect(shown.filter(has_text="miss")).to_have_count(0)
    with Tab(browser, served, **PHONE) as page:
        page.reload()
        expect(page.locator("#legend li:visible")).to_have_count(0)
        page.locator("#legend summary").tap()
        expect(page.locator("#legend li:visible").first).to_be_visible()
        assert violations(page) == []


def test_what_cannot_be_seen_is_hatched_with_its_word(browser, served, client):
    client.put("/calibration", json=NARROW.to_dict())
    client.give(still(layout(hidden_mm=(LAMP,))), "lamp.jpg")
    with Tab(browser, served) as page:
        words = page.locator("#top-view .hidden text").all_text_contents()
        assert words == ["out of the picture", "hidden"]
        expect(page.locator("#legend li:visible").filter(has_text="hidden")).to_have_count(1)


def test_blind_parts_are_outer_rings_and_said_in_words():
    blind = Blind.of(NARROW)
    assert 0.1 < blind.share < 0.4
    assert outside_mm(NARROW) == blind.polygons_mm
    assert all(x > 1270 for ring in blind.polygons_mm for x, _ in ring)
    seen = CALIBRATION.camera
    inner = replace(
        seen, image_size_px=(500, 220), cx_px=seen.cx_px - 70.0, cy_px=seen.cy_px - 70.0
    )
    strips = outside_mm(replace(CALIBRATION, camera=inner))
    assert len(strips) > 1
    middle = (1270.0, 635.0)
    assert not any(Polygon(ring).contains(Point(middle)) for ring in strips)
    svg = error_map_svg(NARROW, blind_mm=blind.polygons_mm, hidden_mm=(LAMP,))
    assert ">out of the picture</text>" in svg
    assert ">hidden</text>" in svg
    said = blind_words(0.0, (), hidden_share=0.04, hidden_where=("middle",))
    assert said.startswith("4 % of the bed is hidden by something that hangs before it (middle)")
    assert "picture" not in top_view_svg(CALIBRATION.table, layout(), blind_mm=())


def test_the_set_up_s_own_error_stands_beside_the_verdict(browser, served, client):
    client.give(still(), "before.jpg")
    client.post("/layouts", json={"title": "One", "intent": INTENT})
    client.put("/guide", json={"layout_id": 1})
    off = BEFORE | {"3": (BEFORE["3"][0] + 9.0, BEFORE["3"][1])}
    client.give(still(layout(off), shade=100), "laid.jpg")
    assert client.put("/intent", json=INTENT).status_code == 200
    assert client.give(still(after(), shade=120), "after.jpg").json()["attempt"]["set_up"]
    with Tab(browser, served) as page:
        for path in ("", "attempts/1"):
            page.goto(served + path)
            expect(page.locator("#laid-off")).to_contain_text("Set up 9.0 mm off (ball 3, read to")
            expect(page.locator("#laid-off")).to_contain_text("not counted as your error")
    assert repeat_words({"3": 4.0, "cue": 7.5}).startswith(
        "set up 7.5 mm off the layout before (cue ball)"
    )


def test_two_names_that_look_exchanged_are_one_tap(browser, served, client):
    document = layout().to_dict()
    for ball, doubt in zip(document["balls"][2:], EACH_OTHER, strict=True):
        ball |= doubt
    client.give(still(Layout.from_dict(document)), "doubt.jpg")
    with Tab(browser, served, **PHONE) as page:
        offer = page.locator("#doubts .doubt")
        expect(offer).to_have_count(1)
        expect(offer).to_contain_text("Ball 4 and ball 9 may be each other.")
        assert violations(page) == []
        page.get_by_role("button", name="Swap: 9, 4").tap()
        expect(offer).to_have_count(0)
    assert names_at(client, 1)[BEFORE["4"]] == ("9", False)
    assert names_at(client, 1)[BEFORE["9"]] == ("4", False)


def test_a_name_that_another_ball_has_is_swapped_with_it_at_once(browser, served, client):
    client.give(still(), "sure.jpg")
    with Tab(browser, served) as page:
        page.locator("#names summary").click()
        page.locator("#pick-4").click()
        page.get_by_role("radio", name="9", exact=True).check()
        page.get_by_role("button", name="Swap ball 4 and ball 9").click()
        expect(page.locator("#names .said")).to_contain_text("Put right by hand")
    assert names_at(client, 1)[BEFORE["4"]] == ("9", False)
    assert names_at(client, 1)[BEFORE["9"]] == ("4", False)


def test_a_pair_that_changed_places_is_asked_about_until_it_is_settled(browser, served, client):
    client.give(taken(), "before.jpg")
    assert client.put("/intent", json=INTENT).status_code == 200
    odd = layout({"cue": FAR, "4": BEFORE["9"], "9": BEFORE["4"]})
    client.give(taken(odd, shade=140), "after.jpg")
    with Tab(browser, served) as page:
        offer = page.locator("#doubts .doubt")
        expect(offer).to_contain_text("may be each other.")
        page.get_by_role("button", name="They are right").click()
        expect(offer).to_have_count(0)
    assert names_at(client, 2)[BEFORE["9"]] == ("9", False)


def test_lists_and_attempts_in_every_state_satisfy_axe(browser, served, client, data):
    for k in range(2):
        client.round(after((FAR[0] - 40 * k, FAR[1])))
    document = after((1700.0, 500.0)).to_dict()
    document["balls"][1] |= EACH_OTHER[0]
    client.round(Layout.from_dict(document))
    client.post("/attempts/1/strike")
    client.post("/practices", json={"title": "Morning"})
    lost = max(
        (each for each in (data / "stills").rglob("*") if each.is_file()),
        key=lambda file: file.stat().st_mtime,
    )
    lost.unlink()
    tab = Tab(browser, served)
    with tab as page:
        for path in ("progress", "attempts/1", "attempts/2", "attempts/3"):
            page.goto(served + path)
            expect(page.locator("#link")).to_have_text("Live")
            if path == "progress":
                page.get_by_text("Every practice on paper").click()
                expect(page.get_by_role("link", name="Morning")).to_have_attribute(
                    "href", "/api/v1/practices/1/report.pdf?units=mm"
                )
            if path == "attempts/1":
                expect(page.locator("#verdict .struck")).to_be_visible()
            if path == "attempts/3":
                expect(page.locator("#still .gone")).to_contain_text("not kept any more")
                expect(page.locator("#doubts .doubt")).to_have_count(1)
            assert violations(page) == [], path
        # the browser tells of the lost picture by itself
        assert all("picture" in said for said in tab.complaints)
        tab.complaints.clear()
