"""What every page stands in: it fits, says how things stand, and asks nothing of anybody else."""

import json
import re

import pytest
from api_kit import Client, after, running, still
from axe_kit import violations
from page_kit import Tab
from playwright.sync_api import expect

SIZES_PX = [(360, 740), (390, 844), (768, 1024), (1280, 800), (1920, 1080)]
TOUCH_PX = 44
LOOKS = ("light", "dark", "contrast")
MOST_BYTES = 250_000
"""Of a page with all that it loads, without still and plots."""


@pytest.fixture
def client(served):
    with Client(served) as client:
        yield client


@pytest.fixture
def page(browser, served):
    with Tab(browser, served) as page:
        yield page


def paths(page):
    """Addresses of the navigation."""
    links = page.locator("nav[aria-label=Pages] a")
    return links.evaluate_all("all => all.map(one => one.getAttribute('href'))")


def look(page, name):
    page.get_by_role("button", name="This screen").click()
    page.locator("#look").select_option(name)
    page.get_by_role("button", name="Done").click()


def cut_off(page):
    """Elements that stick out of the screen or whose text is cut."""
    return page.evaluate(
        """() => {
          const wide = document.documentElement.clientWidth;
          const unseen = (one) => one.closest('.scroll, .unseen, svg, dialog:not([open])')
            || getComputedStyle(one).clipPath !== 'none' || one.matches('.skip');
          const out = [];
          for (const one of document.querySelectorAll('body *')) {
            const box = one.getBoundingClientRect();
            if (!box.width || !box.height || unseen(one)) continue;
            if (box.left < -1 || box.right > wide + 1) out.push(one.outerHTML.slice(0, 120));
          }
          return out;
        }"""
    )


def small_targets(page):
    """Buttons and links outside running text that are smaller than a fingertip."""
    return page.evaluate(
        """least => Array.from(document.querySelectorAll(
            'button, .button, nav a, select, summary, label:has(input)'))
          .filter((one) => one.checkVisibility())
          .map((one) => [one, one.getBoundingClientRect()])
          .filter(([, box]) => box.width && (box.height < least - 0.5 || box.width < least - 0.5))
          .map(([one, box]) => `${one.outerHTML.slice(0, 90)} ${box.width}x${box.height}`)""",
        TOUCH_PX,
    )


@pytest.mark.parametrize("size", SIZES_PX, ids=lambda size: f"{size[0]}px")
def test_every_page_fits_and_can_be_touched(browser, served, client, size):
    client.calibrate()
    client.round(after())
    viewport = {"width": size[0], "height": size[1]}
    with Tab(browser, served, viewport=viewport, has_touch=True) as page:
        for path in paths(page):
            page.goto(served + path.removeprefix("/"))
            expect(page.locator("#link")).to_have_text("Live")
            assert cut_off(page) == [], path
            assert small_targets(page) == [], path
            expect(page.locator("nav [aria-current=page]")).to_have_count(1)
            expect(page.locator("h1")).to_have_count(1)


def test_every_page_in_every_look_satisfies_axe(browser, served, client):
    client.calibrate()
    client.round(after())
    with Tab(browser, served) as page:
        for path in paths(page):
            page.goto(served + path.removeprefix("/"))
            expect(page.locator("#link")).to_have_text("Live")
            for name in LOOKS:
                look(page, name)
                assert violations(page) == [], f"{path} {name}"


def test_the_strip_says_how_things_stand(page, client):
    strip = page.locator("#strip")
    expect(strip.locator("[data-name=calibration]")).to_have_attribute("data-level", "bad")
    expect(strip.locator("[data-name=calibration]")).to_contain_text("none yet")
    expect(strip.locator("[data-name=last]")).to_contain_text("none yet")
    expect(strip.locator("[data-name=disk]")).to_contain_text("GB free")
    client.calibrate()
    expect(strip.locator("[data-name=calibration]")).to_contain_text("set just now")
    client.give(still(), "before.jpg")
    expect(strip.locator("[data-name=last]")).to_contain_text("4 balls")
    client.give(still(after(obstructed=True)), "arm.jpg")
    expect(strip.locator("[data-name=last]")).to_contain_text("obstructed")
    expect(strip.locator("[data-name=last]")).to_have_attribute("data-level", "care")


def test_what_the_keys_go_to_does_not_lie_under_the_strip(page, client):
    client.calibrate()
    client.give(still(), "before.jpg")
    above, below = page.locator("#names summary"), page.locator("#still summary")
    expect(below).to_be_visible()
    page.set_viewport_size({"width": 1180, "height": 400})
    below.focus()
    # it lies right at the top, where the strip is
    above.evaluate("one => scrollBy(0, one.getBoundingClientRect().top)")
    page.keyboard.press("Shift+Tab")
    expect(above).to_be_focused()
    page.wait_for_function(
        """() => document.activeElement.getBoundingClientRect().top
            >= document.querySelector(".strip").getBoundingClientRect().bottom"""
    )


def test_strong_contrast_reaches_the_drawing(page, client):
    client.calibrate()
    client.give(still(), "before.jpg")
    cloth = page.locator("#top-view .cloth")
    fill = "one => getComputedStyle(one).fill"
    expect(cloth).to_have_count(1)
    usual = cloth.evaluate(fill)
    look(page, "contrast")
    assert cloth.evaluate(fill) != usual
    look(page, "light")
    assert cloth.evaluate(fill) == usual


def test_a_chosen_look_is_kept_and_comes_with_the_first_paint(page, served, client):
    look(page, "contrast")
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    assert page.evaluate(ground) == "rgb(0, 0, 0)"
    html = page.request.get(served).text()
    assert 'data-look="contrast"' in html
    page.reload()
    expect(page.locator("#link")).to_have_text("Live")
    assert page.evaluate(ground) == "rgb(0, 0, 0)"


def test_choices_that_mean_nothing_are_none(served, client):
    cookies = "restmark-look=pink; restmark-units=cubits; restmark-turn=7"
    answer = client.get(f"{served}?table=-1", headers={"Cookie": cookies})
    assert answer.status_code == 200
    assert 'data-look="device"' in answer.text


def test_no_page_needs_inline_scripts_or_styles(browser, served, client):
    client.calibrate()
    client.round(after())
    with Tab(browser, served) as page:
        for path in paths(page):
            answer = page.goto(served + path.removeprefix("/"))
            policy = answer.headers["content-security-policy"]
            assert "unsafe" not in policy
            # whatever the policy refused would be a complaint in the console
            assert page.locator("[style]").count() == 0
            assert page.locator("script:not([src]), style").count() == 0


def test_it_can_be_installed_as_an_app(browser, served, client):
    page = client.get(served).text
    address = re.search(r'rel="manifest" href="([^"]+)"', page).group(1)
    manifest = json.loads(client.get(served + address.removeprefix("/")).text)
    assert manifest["display"] == "standalone"
    assert manifest["start_url"] == "/"
    for icon in manifest["icons"]:
        got = client.get(served + icon["src"].removeprefix("/"))
        assert (got.status_code, got.headers["content-type"]) == (200, icon["type"])


def test_pages_are_light_and_quick(browser, served, client):
    client.calibrate()
    client.round(after())
    with Tab(browser, served) as page:
        for path in paths(page):
            page.goto(served + path.removeprefix("/"), wait_until="load")
            expect(page.locator("#link")).to_have_text("Live")
            loaded = page.evaluate(
                """() => performance.getEntries()
                  .filter((one) => one.decodedBodySize && !one.name.includes('/api/'))
                  .reduce((sum, one) => sum + one.decodedBodySize, 0)"""
            )
            assert 10_000 < loaded < MOST_BYTES, path


def test_two_pages_open_at_once_and_one_by_keyboard(browser, tmp_path):
    with (
        running(tmp_path) as address,
        Client(address) as client,
        Tab(browser, address) as one,
        Tab(browser, address) as other,
    ):
        client.calibrate()
        for page in (one, other):
            expect(page.locator("#strip [data-name=calibration]")).to_contain_text("just now")
        one.keyboard.press("Tab")
        expect(one.locator(".skip")).to_be_focused()
        one.keyboard.press("Enter")
        expect(one.locator("#main")).to_be_focused()


def test_progress_hands_out_attempts_and_everything(browser, tmp_path):
    with running(tmp_path / "data") as address, Tab(browser, address) as page:
        page.goto(f"{address}progress")
        for path in ("/api/v1/attempts.csv", "/api/v1/export"):
            assert page.request.get(page.locator(f"a[href='{path}']").evaluate("a => a.href")).ok


def test_an_empty_folder_leads_to_the_set_up_by_a_tap(browser, tmp_path):
    with (
        running(tmp_path / "data") as address,
        Client(address) as client,
        Tab(browser, address, viewport={"width": 390, "height": 844}, has_touch=True) as page,
    ):
        expect(page.locator("#tools")).to_be_hidden()
        assert page.locator("#to-setup").bounding_box()["y"] < 500
        page.locator("#to-setup").tap()
        expect(page.get_by_role("heading", level=1)).to_have_text("Set-up")
        client.calibrate()
        page.goto(address)
        page.locator("#to-camera").tap()
        expect(page.locator("#picture")).to_be_visible()
        page.goto(address)
        expect(page.locator("#link")).to_have_text("Live")
        assert violations(page) == []
        client.give(still(), "before.jpg")
        expect(page.locator("#tools")).to_be_visible()
        expect(page.locator(".first-step")).to_have_count(0)
