"""Names on the page in a real browser: doubt is seen, said, kept, taken back, and taught."""

import pytest
from api_kit import INTENT, Client, after, layout, running, still
from odd_set import CALIBRATION as ODD_CALIBRATION
from odd_set import MOST_DOUBTED, scattered, still_of, truth_of
from page_kit import Tab
from playwright.sync_api import expect

from vision.layout import Layout
from vision.read import read_still
from vision.truth.measure import match_layout, summary

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
DOUBT_3 = {
    "doubtful": True,
    "confidence": 0.6,
    "runners_up": [{"id": "11", "confidence": 0.3}, {"id": "7", "confidence": 0.08}],
}


@pytest.fixture
def client(served):
    """On a calibrated table."""
    with Client(served) as client:
        client.calibrate()
        yield client


@pytest.fixture
def page(browser, served, client):
    """The page with a still on it whose ball 3 is in doubt."""
    client.give(doubtful_still(), "doubtful.jpg")
    with Tab(browser, served) as page:
        page.locator("#names summary").click()
        yield page


def doubtful_still(**more):
    document = layout(**more).to_dict()
    document["balls"][1] |= DOUBT_3
    return still(Layout.from_dict(document))


def offered(page):
    return page.locator("#naming .offer input").evaluate_all("all => all.map(one => one.value)")


def names_at(client, number=1):
    balls = client.get(f"/readings/{number}").json()["layout"]["balls"]
    return {ball["x_mm"]: ball["id"] for ball in balls}


def teach_all(page, balls):
    """Choose every ball's true name in the open question, and confirm."""
    for choice in page.locator("#teaching select").all():
        x_mm, y_mm = map(float, choice.get_attribute("data-place").split())
        near = min(balls, key=lambda b: (b.x_mm - x_mm) ** 2 + (b.y_mm - y_mm) ** 2)
        choice.select_option(near.id)
    page.locator("[name=looked]").check()
    page.locator("#teaching [type=submit]").click()


def refused_once(tab):
    """The browser itself notes a refused request; nothing else may have been noted."""
    assert len(tab.complaints) == 1
    assert "Failed to load resource" in tab.complaints[0]
    tab.complaints.clear()


def test_doubt_is_seen_without_its_colour(page):
    expect(page.locator("#names")).to_contain_text("One name is in doubt: 3 (11 or 7?).")
    expect(page.locator("#names")).to_contain_text("Nothing is known of this very set yet")
    pick = page.locator("#pick-3")
    expect(pick).to_have_text("3?")
    expect(pick).to_have_css("border-style", "dashed")
    expect(pick).to_have_attribute("aria-label", "ball 3, in doubt: 11 or 7?: say which ball it is")
    expect(page.locator("#pick-4")).to_have_css("border-style", "solid")
    expect(page.locator(".ball[data-ball='3'] .doubt-mark")).to_have_text("?")
    expect(page.locator(".ball[data-ball='3'] .doubt-ring")).to_have_count(1)
    expect(page.locator(".doubt-ring")).to_have_count(1)
    expect(page.locator("#top-view svg desc")).to_contain_text("name in doubt (11 or 7?)")


def test_a_name_is_put_right_by_keyboard_and_taken_back(page, client):
    page.locator("#pick-3").focus()
    page.keyboard.press("Enter")
    dialog = page.get_by_role("dialog", name="Which ball is this?")
    expect(dialog).to_contain_text("Still 1, at 2100, 900 mm. Read as ball 3, in doubt.")
    rest = ["cue", "1", "2", "4", "5", "6", "8", "9", "10", "12", "13", "14", "15"]
    assert offered(page) == ["3", "11", "7", *rest, ""]
    expect(page.locator("#naming label").nth(1)).to_contain_text("30 %")
    expect(page.locator("#naming input:checked")).to_have_count(0)
    page.keyboard.press("ArrowDown")
    expect(page.locator("#naming input:checked")).to_have_value("11")
    page.keyboard.press("Enter")

    expect(dialog).to_be_hidden()
    expect(page.locator("#pick-11")).to_be_focused()
    assert names_at(client)[2100.0] == "11"
    names = page.locator("#names")
    expect(names).to_contain_text("Put right by hand: 11 (read as 3).")
    expect(names).to_contain_text("No name is in doubt.")
    # the stand-in's still shows no ball to learn from, and the page does not claim otherwise
    expect(names.locator(".kept")).to_contain_text("the set learned nothing from it")
    expect(page.locator("#balls tr", has=page.locator("#pick-11"))).to_contain_text("by hand")
    expect(page.locator(".ball[data-ball='11']")).to_have_count(1)
    expect(page.locator(".doubt-ring")).to_have_count(0)
    assert page.evaluate("window.isStillTheFirst") is True

    page.reload()
    page.locator("#names summary").click()
    expect(names).to_contain_text("Put right by hand: 11 (read as 3).")
    page.get_by_role("button", name="Take back what I said last").focus()
    page.keyboard.press("Enter")
    expect(names).to_contain_text("One name is in doubt: 3 (11 or 7?).")
    expect(page.locator("#take-back")).to_have_count(0)
    expect(page.locator("#teach")).to_be_focused()
    assert names_at(client)[2100.0] == "3"


def test_a_set_of_its_own_colours_is_said_and_leads_to_teaching(browser, served, client):
    document = layout().to_dict()
    for ball in document["balls"]:
        ball["look"] = [{"id": "1", "confidence": 0.9}, {"id": ball["id"], "confidence": 0.05}]
    client.give(still(Layout.from_dict(document)), "strange.jpg")
    with Tab(browser, served, **PHONE) as page:
        said = page.get_by_role("region", name="The ball set")
        expect(said).to_contain_text("Four balls look like none of the standard colours left for")
        said.get_by_role("link", name="Teach this set").click()
        expect(page.locator("#balls-title")).to_be_visible()
        expect(page.locator("#unusual")).to_contain_text("teach this set from one still")


def test_a_row_points_at_its_ball_in_the_drawing(page):
    page.locator("#pick-4").hover()
    expect(page.locator(".ball.pointed")).to_have_attribute("data-ball", "4")
    page.locator("#pick-9").focus()
    expect(page.locator(".ball.pointed")).to_have_attribute("data-ball", "9")


def test_escape_says_nothing(page, client):
    page.locator("#pick-4").click()
    expect(page.locator("#naming input:checked")).to_have_value("4")
    page.keyboard.press("Escape")
    expect(page.locator("#naming")).to_be_hidden()
    expect(page.locator("#pick-4")).to_be_focused()
    assert client.get("/readings/1/names").json() == {"corrections": []}


def test_a_name_that_is_not_offered_is_a_tap_further_on_a_phone(browser, served, client):
    client.give(doubtful_still())
    with Tab(browser, served, **PHONE) as page:
        page.locator("#doubts [data-other]").tap()
        expect(page.locator("#naming .about")).to_contain_text("Read as ball 3, in doubt.")
        page.get_by_role("radio", name="12", exact=True).check()
        page.get_by_role("button", name="Keep this name").tap()
        expect(page.locator("#names")).to_contain_text("Put right by hand: 12 (read as 3).")
        assert names_at(client)[2100.0] == "12"
        expect(page.locator("#doubts")).to_be_hidden()


def test_a_name_that_another_ball_has_is_said_to_change_hands(page):
    page.locator("#pick-3").click()
    page.locator("#naming input[value='9']").check()
    expect(page.locator("#naming .effect")).to_have_text(
        "The ball at 300, 1000 mm has this name now: it is called ball 3 then, in doubt."
    )
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#names")).to_contain_text("One name is in doubt: 3.")
    expect(page.locator("#names")).to_contain_text("Put right by hand: 9 (read as 3).")


def test_what_nobody_can_tell_stays_in_doubt(page, client):
    page.locator("#pick-4").click()
    page.get_by_role("radio", name="cannot tell").check()
    expect(page.locator("#naming .effect")).to_contain_text("The name is left in doubt")
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#names")).to_contain_text("2 names are in doubt: 3 (11 or 7?), 4.")
    expect(page.locator("#names")).to_contain_text("Left in doubt by hand: 4.")
    assert client.get("/readings/1").json()["layout"]["balls"][2]["doubtful"] is True


def test_without_an_answer_the_question_stays_with_what_was_chosen(browser, served, client):
    client.give(doubtful_still())
    tab = Tab(browser, served, **PHONE)
    with tab as page:
        page.locator("#names summary").click()
        page.locator("#pick-3").click()
        page.locator("#naming input[value='7']").check()
        page.route("**/names", lambda route: route.abort())
        page.locator("#naming [type=submit]").click()
        refusal = page.get_by_role("alert")
        expect(refusal).to_have_text("The service does not answer: nothing was kept.")
        expect(refusal).to_be_in_viewport(ratio=1)
        refused_once(tab)
        page.unroute("**/names")
        expect(page.locator("#naming input:checked")).to_have_value("7")
        page.locator("#naming [type=submit]").click()
        expect(page.locator("#names")).to_contain_text("Put right by hand: 7 (read as 3).")


def test_a_new_still_leaves_the_question_about_the_old_one(page, client):
    page.locator("#pick-3").click()
    page.locator("#naming input[value='11']").check()
    client.give(still(after()), "later.jpg")
    expect(page.locator("#still summary")).to_contain_text("Still 2")
    expect(page.locator("#naming input:checked")).to_have_value("11")
    expect(page.locator("#naming .about")).to_contain_text("Still 1")
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#naming")).to_be_hidden()
    assert names_at(client, 1)[2100.0] == "11"
    assert client.get("/readings/2/names").json() == {"corrections": []}


def test_teaching_refused_loses_nothing_nor_does_a_reload(browser, served, client):
    client.give(doubtful_still())
    tab = Tab(browser, served)
    with tab as page:
        page.locator("#names summary").click()
        page.locator("#teach").click()
        chosen = page.locator("#teaching select")
        values = "all => all.map(one => one.value)"
        assert chosen.evaluate_all(values) == ["cue", "", "4", "9"]
        expect(page.locator("#teaching li").nth(1)).to_contain_text("in doubt: read as 3")
        chosen.nth(1).select_option("9")
        expect(page.locator("#teaching .effect")).to_have_text("Chosen more than once: ball 9.")
        submit = page.locator("#teaching [type=submit]")
        submit.click()
        assert page.locator("[name=looked]").evaluate("box => box.validity.valueMissing")
        page.locator("[name=looked]").check()
        submit.click()
        expect(page.get_by_role("alert")).to_contain_text("names: got one name more than once")
        refused_once(tab)
        page.reload()
        page.locator("#names summary").click()
        page.locator("#teach").click()
        assert chosen.evaluate_all(values) == ["cue", "9", "4", "9"]
        chosen.nth(1).select_option("11")
        page.locator("[name=looked]").check()
        submit.click()
        expect(page.locator("#names")).to_contain_text("Confirmed by hand: cue, 4, 9.")
        expect(page.locator("#names")).to_contain_text("Put right by hand: 11 (read as 3).")
        assert page.evaluate("sessionStorage.length") == 0


def test_the_set_is_not_taught_from_a_covered_table(browser, served, client):
    client.give(doubtful_still(obstructed=True))
    with Tab(browser, served) as page:
        expect(page.locator("#names")).to_contain_text("from a still of the clear table")
        expect(page.locator("#teach")).to_have_count(0)


def test_an_intent_that_means_nothing_on_the_new_names_is_said(page, client):
    client.put("/intent", json=INTENT)
    expect(page.locator("#verdict h1")).to_have_text("Play the shot")
    page.locator("#pick-3").click()
    page.locator("#naming input[value='12']").check()
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#verdict h1")).to_have_text("The shot does not fit these balls")
    expect(page.locator("#verdict .subline")).to_contain_text("3")
    expect(page.locator("#top-view svg")).to_be_visible()


def test_a_verdict_on_the_new_names_or_what_stands_without(page, client):
    client.round(after())
    expect(page.locator("#figures")).to_contain_text("2300.0, 200.0 mm")
    page.locator("#pick-cue").click()
    page.locator("#naming input[value='4']").check()
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#figures")).to_contain_text("900.0, 300.0 mm")
    page.locator("#pick-4").click()
    page.locator("#naming input[value='3']").check()  # the ball that was to be potted, then
    page.locator("#naming [type=submit]").click()
    expect(page.locator("#pick-3")).to_be_focused()
    expect(page.locator("#figures")).to_contain_text("missed")
    # without the ball that was to be potted nothing can be judged: the last verdict stands
    before = client.get("/attempts/1").json()["before_reading_id"]
    names = {"names": [{"id": "12", "x_mm": 2100, "y_mm": 900}]}
    judged = client.post(f"/readings/{before}/names", json=names).json()["attempts"]
    assert [each["judged"] for each in judged] == [False]
    expect(page.locator("#figures .warnings")).to_contain_text("This verdict stands from before")
    expect(page.locator("#figures")).to_contain_text("missed")


def test_one_still_taught_on_the_page_names_the_next(browser, tmp_path):
    """The true reader: the page says which balls are known, and the next still shows it."""
    first, second = scattered(20), scattered(21)
    with (
        running(tmp_path / "data", read=read_still) as address,
        Client(address) as client,
        Tab(browser, address) as page,
    ):
        client.put("/calibration", json=ODD_CALIBRATION.to_dict())
        client.give(still_of(first), "first.jpg")
        page.locator("#names summary").click()
        page.locator("#teach").click()
        teach_all(page, first)
        names = page.locator("#names")
        expect(names).to_contain_text("Kept: later stills of this set are named by it.")
        page.locator("#take-back").click()
        expect(names).to_contain_text("Nothing is known of this very set yet")
        page.locator("#pick-8").click()
        page.locator("#naming [type=submit]").click()
        expect(names).to_contain_text("Confirmed by hand: 8.")
        # strange balls are no witnesses: only what was said is learned
        expect(names).to_contain_text("1 of 16 balls of this set are known by their look")
        page.locator("#teach").click()
        teach_all(page, first)
        expect(names).to_contain_text(
            "16 of 16 balls of this set are known by their look, from 1 still named by hand."
        )
        read = Layout.from_dict(client.give(still_of(second)).json()["reading"]["layout"])
        found = summary([match_layout(read, truth_of(second))])
        assert (found.missed, found.invented, found.wrong_names) == (0, 0, 0)
        assert found.doubtful <= MOST_DOUBTED
        expect(page.locator("#still summary")).to_contain_text("Still 2")
        expect(page.locator("#balls tbody tr")).to_have_count(16)
        # a ball is shown as the still has it: its own middle in the middle of the little picture
        page.locator("#pick-cue").click()
        ball = read.ball("cue")
        left, top, side, _ = map(
            float, page.locator("#naming .look").get_attribute("viewBox").split()
        )
        middle_px = ODD_CALIBRATION.camera.project([[ball.x_mm, ball.y_mm, 28.575]])[0] + 0.5
        assert (left + side / 2, top + side / 2) == pytest.approx(middle_px, rel=0, abs=1.5)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_questions_fit_a_phone(browser, served, client, scheme):
    client.give(doubtful_still())
    with Tab(browser, served, **PHONE, color_scheme=scheme) as page:
        page.locator("#names summary").click()
        for opener, dialog in (("#pick-3", "#naming"), ("#teach", "#teaching")):
            page.locator(opener).click()
            shown = page.locator(dialog)
            expect(shown).to_be_visible()
            wide = shown.evaluate("one => [one.scrollWidth, one.clientWidth]")
            assert wide[0] <= wide[1], f"{dialog} scrolls sideways: {wide}"
            box = shown.bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 360
            spilt = shown.locator("label").evaluate_all(
                "all => all.filter(one => one.scrollWidth > one.clientWidth).length"
            )
            assert spilt == 0
            page.keyboard.press("Escape")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
