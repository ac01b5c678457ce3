"""Ways to practise in a real browser: a plan's way and its settings, and those begun by a tap."""

import pytest
from api_kit import INTENT, Client, after, still
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect

TABLET = {"viewport": {"width": 1180, "height": 820}, "has_touch": True}
OTHER = INTENT | {"cut_deg": [10, 40]}


@pytest.fixture
def client(served):
    with Client(served) as calls:
        calls.calibrate()
        yield calls


@pytest.fixture
def page(browser, served, client):
    with Tab(browser, served, **TABLET) as page:
        yield page


def kept(client):
    plan = client.get("/plans/1").json()["plan"]
    return {name: value for name, value in plan.items() if name != "shots"}


def test_how_a_plan_is_played_is_set_by_taps(page, served, client):
    client.post("/plans", json={"title": "Warm-up", "plan": {"shots": [INTENT, OTHER]}})
    page.goto(f"{served}plans/1")
    way = page.locator("#plan-way")
    expect(way.get_by_role("button", name="In order")).to_have_attribute("aria-pressed", "true")
    expect(way.get_by_role("button", name="Progressive")).to_be_disabled()
    expect(way).to_contain_text("Progressive: needs one shot")
    way.get_by_role("button", name="In a row", exact=True).tap()
    expect(way.locator("output")).to_have_text("3")
    assert kept(client) == {"mode": "pressure", "in_a_row": 3}
    way.get_by_role("button", name="In a row: more").tap()
    expect(way.locator("output")).to_have_text("4")
    way.get_by_role("button", name="The pot").tap()
    expect(way.get_by_role("button", name="The pot")).to_have_attribute("aria-pressed", "true")
    assert kept(client) == {"mode": "pressure", "in_a_row": 4, "counts": "pot"}
    assert violations(page) == []
    back = page.locator("#back")
    back.tap()
    expect(way.get_by_role("button", name="The pot")).to_have_attribute("aria-pressed", "false")
    back.tap()
    expect(way.locator("output")).to_have_text("3")
    back.tap()
    expect(way.get_by_role("button", name="In order")).to_have_attribute("aria-pressed", "true")
    assert kept(client) == {}
    way.get_by_role("button", name="Again and again").tap()
    expect(way).to_contain_text("The first shot alone")
    way.get_by_role("button", name="Each shot: more").tap()
    expect(way.locator("output")).to_have_text("2 times")
    way.get_by_role("button", name="Each shot: less").tap()
    expect(way.locator("output")).to_have_text("without end")
    assert kept(client) == {"mode": "same again"}


def test_a_distance_that_follows_needs_one_shot(page, served, client):
    client.post("/plans", json={"title": "Long", "plan": {"shots": [INTENT]}})
    page.goto(f"{served}plans/1")
    way = page.locator("#plan-way")
    way.get_by_role("button", name="Progressive").tap()
    expect(way.locator("output").first).to_have_text("600 mm")
    way.get_by_role("button", name="First distance: less").tap()
    expect(way.locator("output").first).to_have_text("450 mm")
    way.get_by_role("button", name="The leave").tap()
    expect(way.get_by_role("button", name="The leave")).to_have_attribute("aria-pressed", "true")
    assert kept(client) == {
        "mode": "progressive", "start_mm": 450, "step_mm": 150, "what": "leave",
    }  # fmt: skip
    # what its way cannot have is not offered
    expect(page.locator("#twice-0")).to_be_disabled()
    expect(page.locator("#out-0")).to_be_disabled()
    expect(page.locator("#plan-offers")).to_contain_text("One shot is enough here")


def test_three_in_a_row_are_counted_on_the_practice_page(page, served, client):
    client.give(still(), "before.jpg")
    client.put("/intent", json=INTENT)
    page.locator("#open-other-ways").tap()
    page.locator("#way-pressure").tap()
    expect(page.locator("#practising")).to_contain_text("0 of 3 in a row")
    expect(page.locator("#plan-now")).to_have_text("Play the shot")
    assert violations(page) == []


def test_the_next_shot_of_a_plan_is_said_and_drawn_beside_the_verdict(page, client):
    client.give(still(), "before.jpg")
    plan = {"shots": [INTENT, {"pot": "4", "pocket": "side-right", "next": "9"}]}
    client.post("/practices", json={"way": {"kind": "plan", **plan}})
    expect(page.locator("#verdict h1")).to_have_text("Play shot 1 of 2")
    client.give(still(after(), shade=120), "after.jpg")
    expect(page.locator("#verdict h1")).to_contain_text("Out by")
    expect(page.locator("#plan-now")).to_have_text("Play shot 2 of 2")
    # the table shows the miss; what is next is drawn small beside its words
    expect(page.locator("#top-view .miss")).to_be_visible()
    expect(page.locator("#top-view #own-shot")).to_be_hidden()
    expect(page.locator("#next-drawn .chosen-ring").first).to_be_visible()
    expect(page.locator("#next-drawn .miss")).to_have_count(0)
    assert violations(page) == []
    page.locator("#next-drawn").tap()
    expect(page.locator("#top-view .miss")).to_be_hidden()
    expect(page.locator("#top-view .chosen-ring").first).to_be_visible()
    expect(page.locator("#next-drawn")).to_be_hidden()
    page.locator("#show-judged").tap()
    expect(page.locator("#top-view .miss")).to_be_visible()
    expect(page.locator("#verdict h1")).to_contain_text("Out by")
