"""Plans in a real browser: made of what is there, put in order, named, played, put away by taps."""

import re

import pytest
from api_kit import INTENT, Client, after
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect

TABLET = {"viewport": {"width": 1180, "height": 820}, "has_touch": True}
OTHER = INTENT | {"cut_deg": [10, 40]}


@pytest.fixture
def client(served):
    with Client(served) as calls:
        calls.calibrate()
        assert calls.round(after()).status_code == 201
        for title, intent in (("Wide", INTENT), ("Narrow", OTHER)):
            given = {"title": title, "intent": intent, "reading_id": 1}
            assert calls.post("/layouts", json=given).status_code == 201
        yield calls


@pytest.fixture
def page(browser, served, client):
    with Tab(browser, served, **TABLET) as page:
        yield page


def shots(client, number=1):
    return [each["cut_deg"] for each in client.get(f"/plans/{number}").json()["plan"]["shots"]]


def test_a_plan_is_made_ordered_named_and_played_by_taps(page, served, client):
    page.goto(f"{served}plans")
    page.get_by_role("button", name="New plan").tap()
    expect(page).to_have_url(re.compile("/plans/1$"))
    expect(page.get_by_role("button", name="Play it")).to_be_disabled()
    assert violations(page) == []
    rows = page.locator("#plan-shots li")
    for count, name in enumerate(("Wide", "Narrow", "Wide"), 1):
        page.get_by_role("button", name=f"Add: {name}").tap()
        expect(rows).to_have_count(count)
    assert shots(client) == [[5, 60], [10, 40], [5, 60]]
    page.get_by_role("button", name="Earlier: shot 2").tap()
    expect(rows.first).to_contain_text("Narrow")
    page.get_by_role("button", name="Take out: shot 3").tap()
    expect(rows).to_have_count(2)
    page.reload()
    page.get_by_role("button", name="Undo: took out shot 3").tap()
    expect(rows).to_have_count(3)
    assert shots(client) == [[10, 40], [5, 60], [5, 60]]
    page.get_by_text("Another name").tap()
    page.get_by_role("button", name="Warm-up").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Warm-up")
    assert violations(page) == []
    page.get_by_role("button", name="Play it").tap()
    expect(page.locator("#practising")).to_contain_text("a plan, shot by shot")
    practice = client.get("/practices").json()["practices"][0]
    assert (practice["plan_id"], practice["finished_at"]) == (1, None)


def test_a_plan_is_put_away_and_brought_back(page, served, client):
    client.post("/plans", json={"title": "Soft", "plan": {"shots": [INTENT]}})
    page.goto(f"{served}plans")
    page.get_by_role("button", name="Put away: Soft").tap()
    expect(page.locator("#plans")).to_contain_text("No plan yet.")
    page.get_by_role("link", name="What was put away").tap()
    page.get_by_role("button", name="Bring back: Soft").tap()
    page.get_by_role("link", name="Back to the plans").tap()
    expect(page.get_by_role("button", name="Play it: Soft")).to_be_visible()
    assert violations(page) == []


def test_notes_stay_with_their_shots(page, served, client):
    plan = {"shots": [INTENT, OTHER], "notes": [{"spin": "draw"}]}
    client.post("/plans", json={"title": "Draw", "plan": plan})
    page.goto(f"{served}plans/1")
    page.get_by_role("button", name="Later: shot 1").tap()
    expect(page.get_by_role("button", name="Undo: moved shot 1 to 2")).to_be_visible()
    kept = client.get("/plans/1").json()["plan"]
    assert [each and each["spin"] for each in kept["notes"]] == [None, "draw"]


def test_chosen_layouts_become_a_plan(page, served, client):
    page.goto(f"{served}layouts")
    for name in ("Wide", "Narrow"):
        page.locator(".layout").filter(has_text=name).get_by_text("Choose").tap()
    page.get_by_role("button", name="Make a plan of them").tap()
    expect(page).to_have_url(re.compile("/plans/1$"))
    assert shots(client) == [[5, 60], [10, 40]]


def test_every_address_of_a_page_stays_at_its_table(browser, served, client):
    assert client.post("/tables", json={"name": "By the window"}).status_code == 201
    with Tab(browser, served) as page:
        for path in (
            "",
            "layouts",
            "plans",
            "progress",
            "setup",
            "guide",
            "lessons?layouts=1",
            "attempts/1",
        ):
            page.goto(f"{served}{path}{'&' if '?' in path else '?'}table=2")
            expect(page.locator("#link")).to_have_text("Live")
            links = page.locator("a[href^='/']").evaluate_all(
                "all => all.map(a => a.getAttribute('href'))"
            )
            left = [
                link for link in links if not link.startswith("/api/") and "table=2" not in link
            ]
            assert left == [], path
        page.get_by_role("button", name="This screen").click()
        page.locator("#at-table").select_option(label="Table 1")
        expect(page).to_have_url(re.compile("/attempts/1$"))
