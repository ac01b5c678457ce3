"""The page of all tables: what each is doing, kept new, with a way into each one's practice."""

import pytest
from api_kit import CALIBRATION, INTENT, Client, after, running, still, taken
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect
from test_page_frame import LOOKS, SIZES_PX, cut_off, look, small_targets

from service.door import Role
from service.door.roles import least_role

TABLES = 12


def at(client, method, path, table, **more):
    answer = client.request(method, path, params={"table": table, "name": "s.jpg"}, **more)
    assert answer.status_code < 300, answer.text
    return answer.json()


def give(client, table, data):
    return at(
        client, "POST", "/stills", table, content=data, headers={"Content-Type": "image/jpeg"}
    )


def fill(client):
    """Twelve tables: 1 and 2 play, 3 is calibrated alone, the others are new."""
    for number in range(2, TABLES + 1):
        player = client.post("/players", json={"name": f"Player {number}"}).json()["id"]
        client.post("/tables", json={"name": f"Table {number}", "player_id": player})
    for number in (1, 2, 3):
        at(client, "PUT", "/calibration", number, json=CALIBRATION.to_dict())
    for number in (1, 2):
        give(client, number, taken())
        at(client, "PUT", "/intent", number, json=INTENT)
    give(client, 1, taken(after(), shade=140))


@pytest.fixture(scope="module")
def school(tmp_path_factory):
    with running(tmp_path_factory.mktemp("school") / "data") as address:
        with Client(address) as client:
            fill(client)
        yield address


@pytest.mark.parametrize("size", SIZES_PX, ids=lambda size: f"{size[0]}px")
def test_it_fits_and_can_be_touched(browser, school, size):
    viewport = {"width": size[0], "height": size[1]}
    with Tab(browser, school, viewport=viewport, has_touch=True) as page:
        for path in ("tables", "", "progress"):
            page.goto(f"{school}{path}")
            expect(page.locator("#link")).to_have_text("Live")
            assert cut_off(page) == [], path
            assert small_targets(page) == [], path
        page.goto(f"{school}tables")
        expect(page.locator("#tables > li")).to_have_count(TABLES)
        expect(page.locator("h1")).to_have_count(1)
        expect(page.locator("nav [aria-current=page]")).to_have_text("Tables")


def test_every_look_satisfies_axe(browser, school):
    with Tab(browser, school) as page:
        page.goto(f"{school}tables")
        expect(page.locator("#link")).to_have_text("Live")
        for name in LOOKS:
            look(page, name)
            assert violations(page) == [], name


def test_each_table_says_in_words_what_it_is_doing(browser, school):
    with Tab(browser, school) as page:
        page.goto(f"{school}tables")
        first = page.locator("#table-1")
        expect(first).to_contain_text("Out by")
        expect(first).to_contain_text("1 attempt today, 0 in the zone")
        expect(first).to_contain_text("Camera none watched")
        second = page.locator("#table-2")
        expect(second).to_contain_text("Player 2")
        expect(second).to_contain_text("No verdict yet")
        expect(second).to_contain_text("Pot 3 in the foot left")
        expect(page.locator("#table-3")).to_contain_text("Last still none yet")
        expect(page.locator("#table-4")).to_contain_text("Calibration none yet")
        page.get_by_role("link", name="Practice of Table 2").click()
        expect(page).to_have_url(f"{school}?table=2")
        expect(page.locator("#link")).to_have_text("Live")


def test_it_follows_what_happens_at_every_table(browser, tmp_path):
    with running(tmp_path / "data") as address, Client(address) as client:
        fill(client)
        with Tab(browser, address) as page:
            page.goto(f"{address}tables")
            expect(page.locator("#link")).to_have_text("Live")
            expect(page.locator("#table-2")).to_contain_text("No verdict yet")
            page.locator("#to-2").focus()
            give(client, 2, taken(after(), shade=140))
            expect(page.locator("#table-2")).to_contain_text("Out by")
            expect(page.locator("#to-2")).to_be_focused()
            give(client, 3, still(after(obstructed=True)))
            expect(page.locator("#table-3 [data-name=last]")).to_have_attribute(
                "data-level", "care"
            )
            # another player comes to a table, and another table is made
            player = client.post("/players", json={"name": "Somebody new"}).json()["id"]
            client.patch("/tables/2", json={"player_id": player})
            expect(page.locator("#table-2 h2")).to_contain_text("Somebody new")
            client.post("/tables", json={"name": "One more"})
            expect(page.locator(f"#table-{TABLES + 1}")).to_contain_text("One more")


def test_whose_table_is_the_only_one_is_not_led_there(browser, served):
    with Tab(browser, served) as page:
        nav = page.locator("nav[aria-label=Pages]")
        expect(nav).to_contain_text("Progress")
        expect(nav).not_to_contain_text("Tables")


def test_whoever_may_look_on_may_see_it():
    assert least_role("GET", "/tables") is Role.VIEWER
    assert least_role("GET", "/tables/parts") is Role.VIEWER
