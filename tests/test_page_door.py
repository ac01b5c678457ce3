"""Pairing as a person does it: a code is scanned or typed, then the pages are there."""

import contextlib
import re

import pytest
from api_kit import Client, running
from axe_kit import violations
from playwright.sync_api import expect
from test_page_frame import cut_off, small_targets

from service.door import Role
from service.door import certificate as certificates
from service.door.qr import pairing_address

SIZES_PX = [(360, 740), (1280, 800)]


@pytest.fixture(scope="module")
def doors():
    return []


@pytest.fixture(scope="module")
def entered(tmp_path_factory, doors):
    """A service over TLS with a certificate of its own that lets only paired devices in."""
    folder = tmp_path_factory.mktemp("door")
    tls = certificates.own(folder / "keys", ["127.0.0.1"])
    with running(folder / "data", paired=True, tls=tls, code=doors.append) as address:
        yield address


@contextlib.contextmanager
def device(browser, *, refused=0, **settings):
    """A browser of its own, whose owner went on past the warning; held to silence, but for
    requests that are ``refused`` with that status."""
    context = browser.new_context(ignore_https_errors=True, **settings)
    complaints = []
    page = context.new_page()
    page.on("console", lambda said: complaints.append(f"{said.text} {said.location}"))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    context.close()
    assert [each for each in complaints if not refused or f"status of {refused}" not in each] == []


def test_a_scanned_code_pairs_and_leads_to_the_table(browser, entered, doors):
    code = doors[0].new_code(Role.TABLE).code
    with device(browser, viewport={"width": 390, "height": 844}, has_touch=True) as page:
        page.goto(pairing_address(entered, code))
        expect(page.get_by_label("Code")).to_have_value(code)
        # it stays in no history
        assert page.url == f"{entered}pair"
        page.get_by_label("What this device is called").fill("My phone")
        page.get_by_role("button", name="Pair").tap()
        expect(page.locator("#link")).to_have_text("Live")
        assert page.url == entered
        cookie = page.context.cookies()[0]
        assert cookie["name"] == "__Host-restmark-device"
        assert (cookie["httpOnly"], cookie["secure"], cookie["sameSite"]) == (True, True, "Strict")
        assert code.encode() not in cookie["value"].encode()
        assert "device" not in page.evaluate("document.cookie")
        # the code is spent, the device stays
        page.reload()
        expect(page.locator("#link")).to_have_text("Live")
        page.get_by_role("button", name="This screen").click()
        expect(page.get_by_role("link", name="Devices that are let in")).to_have_count(0)


def test_a_wrong_code_is_said_and_a_typed_one_pairs_without_scripts(browser, entered, doors):
    with device(browser, refused=403, java_script_enabled=False) as page:
        page.goto(f"{entered}progress")
        assert page.url == f"{entered}pair"
        page.get_by_label("Code").fill("ABCD-EFGH")
        page.get_by_label("What this device is called").fill("Tablet")
        with page.expect_response("**/pair") as told:
            page.get_by_role("button", name="Pair").click()
        assert told.value.status == 403
        expect(page.get_by_role("alert")).to_contain_text("Code: is none")
        code = doors[0].new_code(Role.VIEWER).code
        page.get_by_label("Code").fill(code.lower().replace("-", " "))
        page.get_by_role("button", name="Pair").click()
        expect(page.locator("#strip")).to_contain_text("only looks on")


def owner(page, entered, doors):
    page.goto(pairing_address(entered, doors[0].new_code(Role.OWNER).code))
    page.get_by_label("What this device is called").fill("Laptop")
    page.get_by_role("button", name="Pair").click()
    page.wait_for_url(entered)
    page.get_by_role("button", name="This screen").click()
    page.get_by_role("link", name="Devices that are let in").click()
    page.wait_for_url(f"{entered}devices")
    expect(page.locator("#link")).to_have_text("Live")


def test_an_owner_lets_another_in_and_shuts_it_out(browser, entered, doors):
    with device(browser) as page, device(browser, refused=401) as other:
        owner(page, entered, doors)
        page.get_by_label("Looks on").check()
        page.get_by_role("button", name="Show a code").click()
        code = page.locator(".code-said").inner_text()
        assert re.fullmatch(r"[A-Z2-9]{4}-[A-Z2-9]{4}", code)
        expect(page.get_by_role("img", name="The address with its code")).to_be_visible()
        other.goto(f"{entered}pair")
        other.get_by_label("Code").fill(code)
        other.get_by_label("What this device is called").fill("Guest <b>phone</b>")
        other.get_by_role("button", name="Pair").click()
        expect(other.locator("#link")).to_have_text("Live")
        # the list is new by itself
        row = page.locator(".device", has_text="Guest <b>phone</b>")
        expect(row).to_contain_text("looks on")
        shut = row.get_by_role("button", name="Shut out")
        shut.click()
        expect(shut).to_have_text("Really shut out")
        shut.click()
        expect(row).to_have_count(0)
        expect(other.locator("#link")).not_to_have_text("Live")
        other.goto("about:blank")
        answer = other.request.get(entered, headers={"Accept": "text/html"}, max_redirects=0)
        assert (answer.status, answer.headers["location"]) == (303, "/pair")
        expect(page.locator(".device", has_text="this device")).to_have_count(1)


def let_in(page, entered, doors, role):
    page.goto(pairing_address(entered, doors[0].new_code(role).code))
    page.get_by_label("What this device is called").fill("Another")
    page.get_by_role("button", name="Pair").click()
    expect(page.locator("#link")).to_have_text("Live")


def test_who_looks_on_is_offered_nothing_that_would_be_refused(browser, entered, doors):
    """Every button that is seen asks for nothing that changes something."""
    with device(browser) as page:
        let_in(page, entered, doors, Role.VIEWER)
        expect(page.locator("#strip")).to_contain_text("only looks on")
        for path in ("", "layouts", "plans", "guide", "lessons", "progress", "setup"):
            page.goto(entered + path)
            expect(page.locator("#link")).to_have_text("Live")
            seen = page.locator("main [data-least]").evaluate_all(
                "all => all.filter((one) => one.checkVisibility()).map((one) => one.outerHTML)"
            )
            assert seen == [], path
            names = page.locator("main button, main label.button").evaluate_all(
                "all => all.filter((one) => one.checkVisibility()).map((one) => one.textContent)"
            )
            assert set(names) <= {"Turn the table", "Chances", "Reach", "Hooked", "Find",
                                  "Keep these words"}, path  # fmt: skip
            assert violations(page) == [], path
        expect(page.locator("main")).to_contain_text("only looks on")
        page.goto(f"{entered}progress")
        expect(page.get_by_role("link", name="Everything as an archive")).to_have_count(0)


def test_a_device_at_the_table_chooses_no_camera_of_the_computer(browser, entered, doors):
    with device(browser, refused=403) as page:
        let_in(page, entered, doors, Role.TABLE)
        page.goto(f"{entered}setup")
        expect(page.get_by_text("A camera of the computer")).to_be_hidden()
        expect(page.get_by_text("This device's camera")).to_be_visible()
        expect(page.locator("#picture")).to_contain_text("chosen on an owner's device")
        page.goto(f"{entered}devices")
        expect(page.get_by_role("heading", level=1)).to_have_text("This device may not see that")
        page.get_by_role("link", name="To the practice").click()
        assert page.url == entered


@pytest.mark.parametrize("size", SIZES_PX, ids=lambda size: f"{size[0]}px")
def test_both_pages_fit_can_be_touched_and_satisfy_axe(browser, entered, doors, size, tmp_path):
    viewport = {"width": size[0], "height": size[1]}
    with device(browser, viewport=viewport, has_touch=True) as page:
        page.goto(f"{entered}pair")
        for look in ("light", "dark", "contrast"):
            page.evaluate("look => document.documentElement.dataset.look = look", look)
            assert violations(page) == [], look
        assert (cut_off(page), small_targets(page)) == ([], [])
        page.screenshot(path=tmp_path / f"pair-{size[0]}.png", full_page=True)
        owner(page, entered, doors)
        page.get_by_role("button", name="Show a code").click()
        expect(page.locator(".code-said")).to_be_visible()
        for look in ("light", "dark", "contrast"):
            page.evaluate("look => document.documentElement.dataset.look = look", look)
            assert violations(page) == [], look
        assert (cut_off(page), small_targets(page)) == ([], [])
        page.screenshot(path=tmp_path / f"devices-{size[0]}.png", full_page=True)


def test_the_service_of_one_machine_has_neither_page(tmp_path):
    with running(tmp_path / "data") as address, Client(address) as client:
        for path in ("pair", "devices"):
            assert client.get(f"{address}{path}").status_code == 404
        assert 'href="/devices"' not in client.get(address).text
