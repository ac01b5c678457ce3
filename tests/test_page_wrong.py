"""What a browser is shown where there is no page, and what only programs are told."""

import pytest
from api_kit import Client
from axe_kit import violations
from playwright.sync_api import expect
from test_page_frame import cut_off, small_targets

from service.pages.frame.wrong import wrong_words

BROWSER = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


@pytest.fixture
def client(served):
    with Client(served) as client:
        yield client


@pytest.mark.parametrize(
    "path", ["nowhere", "attempts/99", "attempts/one", "plans/99", "docs/none"]
)
def test_an_address_without_a_page_is_said_in_the_frame(client, served, path):
    answer = client.get(served + path, headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert answer.headers["cache-control"] == "no-store"
    assert "There is no such page" in answer.text
    assert 'aria-label="Pages"' in answer.text
    assert answer.headers["x-request-id"]


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("nowhere", {"Accept": "*/*"}),
        ("nowhere", {"Accept": "application/json"}),
        ("api/v1/nowhere", BROWSER),
        ("api/v1/attempts/99", BROWSER),
        ("static/none.css", BROWSER),
    ],
)
def test_programs_are_told_a_problem(client, served, path, headers):
    answer = client.get(served + path, headers=headers)
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["code"] == "not-found"


def test_what_is_sent_is_refused_with_a_problem(client, served):
    answer = client.post(f"{served}nowhere", headers=BROWSER, json={})
    assert answer.headers["content-type"] == "application/problem+json"


def test_it_fits_leads_back_and_satisfies_axe(browser, served):
    for wide in (360, 1280):
        context = browser.new_context(viewport={"width": wide, "height": 740}, has_touch=True)
        page = context.new_page()
        page.goto(f"{served}nowhere")
        expect(page.locator("#link")).to_have_text("Live")
        assert (cut_off(page), small_targets(page)) == ([], [])
        for look in ("light", "dark", "contrast"):
            page.evaluate("look => document.documentElement.dataset.look = look", look)
            assert violations(page) == [], look
        page.get_by_role("link", name="To the practice").tap()
        expect(page).to_have_url(served)
        context.close()


def test_what_passes_is_offered_again():
    passing = wrong_words(503, "store-busy", "the disk is full. Make room.")
    assert (passing.headline, passing.words) == ("Not just now", "The disk is full. Make room.")
    assert passing.is_passing
    assert wrong_words(500, "internal", "failed.").is_passing
    assert not wrong_words(404, "not-found", "").is_passing
    refused = wrong_words(403, "role-not-enough", "GET /devices: …")
    assert "looks on" not in refused.headline
    assert "owner" in refused.words
