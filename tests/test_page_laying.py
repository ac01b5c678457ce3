"""Layouts, the set-up guide and lessons in a real browser, as somebody at the table uses them."""

import re
from importlib.resources import files
from pathlib import Path

import pytest
from api_kit import BEFORE, INTENT, Client, layout, running, still
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect

from service.desk.readers import TableReaders
from vision.truth.file import read_truth

SHOTS = Path(str(files("sample_frames"))) / "practice" / "shots"
TOUCH_PX = 44
OFF = BEFORE | {"3": (2058.0, 893.0)}


@pytest.fixture
def client(served):
    with Client(served) as calls:
        calls.calibrate()
        assert calls.give(still(), "before.jpg").status_code == 201
        yield calls


@pytest.fixture
def page(browser, served, client):
    with Tab(browser, served) as page:
        yield page


def go(page, served, path):
    page.goto(served + path)
    expect(page.locator("#link")).to_have_text("Live")


def test_a_layout_is_recorded_with_one_tap_named_found_and_put_away(page, served, client):
    go(page, served, "layouts")
    expect(page.locator("#now")).to_have_text("The newest still shows 4 balls.")
    page.get_by_role("button", name="Record the table as it lies").click()
    title = page.get_by_role("textbox", name="Title")
    expect(title).to_be_focused()
    title.fill("Stop beside the 4")
    page.get_by_role("textbox", name="Note").fill("Soft, with a little draw")
    page.get_by_label("Tags, with commas").fill("soft, draw")
    page.get_by_role("button", name="Keep these words").click()
    card = page.locator(".layout")
    expect(card.get_by_role("heading")).to_have_text("Stop beside the 4")
    # who goes by keys stands where the words were, not at the top of the page
    expect(card.locator("summary")).to_be_focused()
    expect(card).to_contain_text("4 balls · draw · soft")
    shown = card.locator("img")
    expect(shown).to_have_attribute("alt", "Stop beside the 4, drawn from above: 4 balls")
    page.wait_for_function("document.querySelector('.layout img').naturalWidth > 0")
    page.get_by_label("Find in titles").fill("firm")
    expect(page.locator("#library")).to_have_text(re.compile("No layout has these words."))
    page.get_by_label("Find in titles").fill("draw")
    expect(page.locator(".layout")).to_have_count(1)
    page.locator("summary").click()
    page.get_by_role("button", name="Put away").click()
    expect(page.locator(".layout")).to_have_count(0)
    expect(page.locator("#main")).to_be_focused()
    page.get_by_role("link", name="What was put away").click()
    page.get_by_role("button", name="Bring back").click()
    expect(page.locator(".layout")).to_have_count(0)
    page.get_by_role("link", name="Back to the layouts").click()
    expect(page.locator(".layout")).to_have_count(1)


def test_a_layout_is_recorded_with_the_shot_that_is_planned_on_it(page, served, client):
    client.put("/intent", json=INTENT)
    go(page, served, "layouts")
    expect(page.locator("#now")).to_contain_text("this shot is planned on them: Pot 3 in the foot")
    page.get_by_role("button", name="Record the table as it lies").click()
    expect(page.locator(".layout")).to_contain_text("150 to 1200 mm away")
    (kept,) = client.get("/layouts").json()["layouts"]
    assert kept["intent"]["next_pocket"] == INTENT["next_pocket"]
    client.delete("/intent")
    expect(page.locator("#now")).to_have_text("The newest still shows 4 balls.")


def test_what_cannot_be_kept_is_said_beside_the_words(browser, served, client):
    client.post("/layouts", json={"title": "One"})
    tab = Tab(browser, served)
    with tab as page:
        go(page, served, "layouts")
        page.locator("summary").click()
        page.get_by_label("Tags, with commas").fill("x" * 60)
        page.get_by_role("button", name="Keep these words").click()
        refusal = page.get_by_role("alert").filter(has_text="allowed: 1 to 40 characters")
        expect(refusal).to_be_visible()
        # the browser tells of every refused request by itself
        assert all("422" in said for said in tab.complaints)
        tab.complaints.clear()


def test_a_file_of_the_library_is_taken_in(page, served, client, tmp_path):
    number = client.post("/layouts", json={"title": "One", "intent": INTENT}).json()["id"]
    file = tmp_path / "one.svg"
    file.write_bytes(client.get(f"/layouts/{number}.svg").content)
    go(page, served, "layouts")
    page.locator("#import input").set_input_files(file)
    expect(page.locator(".layout")).to_have_count(2)
    expect(page.locator(".layout").first).to_contain_text("Pot 3 in the foot left")


def test_the_guide_is_done_when_it_is_green_and_said(page, served, client):
    client.post("/layouts", json={"title": "Stop beside the 4"})
    client.give(still(layout(OFF), shade=100), "off.jpg")
    go(page, served, "layouts")
    page.get_by_role("button", name="Set it up", exact=True).click()
    expect(page).to_have_url(re.compile("/guide$"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Stop beside the 4")
    words = "toward the foot rail 42 mm, toward the left long rail 7.0 mm"
    expect(page.locator("#said")).to_have_text(f"3 of 4 balls stand right. Next: ball 3 {words}.")
    expect(page.locator("#laid .move")).to_have_count(1)
    expect(page.locator("#balls [data-state=move]")).to_contain_text(words)
    page.evaluate("""() => {
      document.cookie = 'restmark-voice=on; path=/';
      window.heard = [];
      speechSynthesis.speak = (said) => window.heard.push(said.text);
    }""")
    client.give(still(layout(BEFORE), shade=110), "again.jpg")
    expect(page.locator("#state")).to_have_attribute("data-tone", "in")
    expect(page.locator("#said")).to_contain_text("Done: 4 balls within 6.0 mm.")
    expect(page.locator("#balls [data-state=move]")).to_have_count(0)
    expect(page.locator("#balls")).to_contain_text("cue ball, 3, 4 and 9 stand right.")
    page.wait_for_function("window.heard.length > 0")
    assert page.evaluate("window.heard.at(-1)") == "Done: 4 balls within 6.0 millimetres."


def test_the_tolerance_is_the_player_s_and_the_guide_can_be_put_away(page, served, client):
    client.put("/guide", json={"reading_id": 1})
    client.give(still(layout(OFF), shade=100), "off.jpg")
    go(page, served, "guide")
    near = page.locator("#nearness")
    for name in ("Near enough: less", "Near enough: more"):
        box = near.get_by_role("button", name=name).bounding_box()
        assert min(box["width"], box["height"]) >= TOUCH_PX
    for _ in range(8):
        near.get_by_role("button", name="Near enough: more").click()
    expect(near.locator("output")).to_have_text("40 mm")
    assert violations(page) == []
    near.get_by_role("button", name="Near enough: more").click()
    expect(page.locator("#said")).to_contain_text("Done: 4 balls within 50 mm.")
    expect(near.locator("output")).to_have_text("50 mm")
    # in the player's own unit from there; what is kept stays millimetres
    page.get_by_role("button", name="This screen").click()
    page.locator("#units").select_option("inches")
    page.get_by_role("button", name="Done").click()
    expect(near.locator("output")).to_have_text("1.97 in")
    near.get_by_role("button", name="Near enough: less").press("Enter")
    expect(page.locator("#said")).to_contain_text("3 of 4 balls stand right.")
    assert client.get("/guide").json()["tolerance_mm"] == pytest.approx(1.5 * 25.4)
    page.get_by_role("button", name="Put the guide away").click()
    expect(page.locator("#said")).to_contain_text("No layout was chosen")
    expect(page.get_by_role("link", name="To the layouts")).to_be_visible()


def test_on_a_phone_the_table_stands_upright(browser, served, client):
    client.put("/guide", json={"reading_id": 1})
    with Tab(browser, served, viewport={"width": 390, "height": 844}) as page:
        go(page, served, "guide")
        upright = """() => {
          const { width, height } = document.querySelector('#laid svg').viewBox.baseVal;
          return height > width;
        }"""
        page.wait_for_function(upright)
        page.set_viewport_size({"width": 1280, "height": 800})
        page.wait_for_function(f"() => !({upright})()")


def test_a_picture_is_looked_at_without_being_kept(page, served, client, tmp_path):
    client.put("/guide", json={"reading_id": 1})
    go(page, served, "guide")
    expect(page.locator("#said")).to_contain_text("Done")
    before = client.holds()
    arm = tmp_path / "arm.jpg"
    arm.write_bytes(still(layout(obstructed=True), shade=120))
    page.locator("#picture").set_input_files(arm)
    expect(page.locator("#said")).to_contain_text("step back")
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture")
    page.locator("#picture").set_input_files(broken)
    expect(page.locator("#said")).to_contain_text("allowed:")
    assert client.holds() == before


def test_a_lesson_is_made_of_chosen_layouts(page, served, client):
    for title in ("One", "Two"):
        client.post("/layouts", json={"title": title, "intent": INTENT})
    go(page, served, "layouts")
    for title in ("One", "Two"):
        page.locator(".layout", has_text=title).get_by_label("Choose").check()
    page.get_by_role("link", name="Make a lesson of them").click()
    headings = page.locator(".layout h2")
    expect(headings).to_have_text(["1. One", "2. Two"])
    page.get_by_role("link", name="Earlier: Two").click()
    expect(headings).to_have_text(["1. Two", "2. One"])
    page.get_by_label("Title").fill("Thursday")
    page.get_by_role("button", name="Keep these words").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Thursday")
    with page.expect_download() as saved:
        page.get_by_role("link", name="One page to pass on").click()
    lesson = Path(saved.value.path()).read_text(encoding="utf-8")
    assert lesson.index("Two") < lesson.index("One")
    assert "<h1>Thursday</h1>" in lesson
    page.get_by_role("link", name="Leave out: Two").click()
    expect(headings).to_have_text(["1. One"])


@pytest.mark.parametrize("size", [(360, 740), (768, 1024), (1280, 800)], ids=str)
def test_guide_and_lesson_fit_and_satisfy_axe(browser, served, client, size):
    number = client.post("/layouts", json={"title": "One " * 20, "intent": INTENT}).json()["id"]
    client.put("/guide", json={"layout_id": number})
    client.give(still(layout(OFF | {"7": (1000.0, 1000.0)}), shade=100), "off.jpg")
    viewport = {"width": size[0], "height": size[1]}
    with Tab(browser, served, viewport=viewport, has_touch=True) as page:
        for path in ("layouts", "layouts?away=1", "guide", f"lessons?layouts={number}", "lessons"):
            go(page, served, path)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size[0], path
            assert violations(page) == [], path


def test_addresses_that_mean_nothing_show_a_page_all_the_same(served, client):
    for path in ("layouts?before=-1&tag=%00&q=%25", "lessons?layouts=x,99,-1", "guide?table=99"):
        assert client.get(served + path).status_code in (200, 404), path


def test_the_guide_reads_real_stills(browser, tmp_path):
    """By a calibrated service's own reader, from a still to done."""
    truth = read_truth(SHOTS)
    first, later = "shot-01-before.jpg", "shot-03-before.jpg"
    with running(tmp_path, read=TableReaders()) as address, Client(address) as client:
        client.put("/calibration", json=truth[first].calibration.to_dict())
        client.give((SHOTS / first).read_bytes(), first)
        client.post("/layouts", json={"title": "First"})
        client.put("/guide", json={"layout_id": 1})
        with Tab(browser, address) as page:
            go(page, address, "guide")
            page.locator("#picture").set_input_files(SHOTS / later)
            expect(page.locator("#balls")).to_contain_text("not on the table")
            expect(page.locator("#said")).to_contain_text("stand right. Next: ")
            page.locator("#picture").set_input_files(SHOTS / first)
            expect(page.locator("#said")).to_contain_text("Done: ")
