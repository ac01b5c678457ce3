"""A practice on paper: what stands on its pages, and the route and the page that hand it out."""

import math
from io import BytesIO

import numpy as np
import pypdfium2
import pytest
from api_kit import CALIBRATION, INTENT, Client, after, assert_problem, running, still

from service.drawing.charts.landings import LandingPoint, landings_svg
from service.report import kept
from service.sheets.page import A4_MM, SIDE_MM
from service.sheets.practice_sheet import PracticeOnPaper, practice_pdf
from service.words.facts import Fact

PT_A_MM = 72 / 25.4
SHOTS = 5
PX_A_MM = 4


class Sheet:
    """A PDF opened for looking at."""

    def __init__(self, data: bytes) -> None:
        self.document = pypdfium2.PdfDocument(BytesIO(data))
        self.texts = [page.get_textpage().get_text_range() for page in self.document]
        self.text = " ".join(" ".join(self.texts).split())

    def page(self, number: int):
        """Gray levels of a page, (H, W)."""
        scale = PX_A_MM / PT_A_MM
        return self.document[number].render(scale=scale, grayscale=True).to_numpy().squeeze()


@pytest.fixture
def played(client):
    """A client at a service with a practice: the third shot noted, the fourth struck."""
    made = client.post("/practices", json={"title": "Stops — Übung", "way": {"kind": "free"}})
    assert made.status_code == 201
    for k in range(SHOTS):
        assert client.give(still(shade=20 + 20 * k), f"{k}-before.jpg").status_code == 201
        assert client.put("/intent", json=INTENT).status_code == 200
        stop = (2000.0 + 40 * k, 300.0)
        assert client.give(still(after(stop), shade=30 + 20 * k), f"{k}.jpg").status_code == 201
    numbers = [a["id"] for a in client.get("/attempts").json()["attempts"]][::-1]
    assert len(numbers) == SHOTS
    assert client.put(f"/attempts/{numbers[2]}/note", json={"spin": "draw"}).status_code == 200
    assert client.post(f"/attempts/{numbers[3]}/strike").status_code == 200
    return client


def sheet_of(client, **asked) -> Sheet:
    answer = client.get("/practices/1/report.pdf", params=asked)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert "%C3%9Cbung.pdf" in answer.headers["content-disposition"]
    return Sheet(answer.content)


def test_the_answer_stands_first_and_figures_have_their_intervals(played):
    sheet = sheet_of(played)
    said = played.get("/statistics", params={"practice": 1}).json()
    first = sheet.texts[0].split()
    assert " ".join(first).startswith(said["headline"])
    assert "Stops — Übung" in sheet.text
    assert f"{SHOTS - 1} attempts, 1 more struck" in sheet.text
    assert "Player 1 · Table 1" in sheet.text
    assert "95 % interval" in sheet.text


def test_every_attempt_is_drawn_and_said(played):
    sheet = sheet_of(played)
    listed = played.get("/attempts", params={"struck": "true"}).json()["attempts"]
    assert len(listed) == 1
    assert "(struck)" in sheet.text
    assert sheet.text.count("(struck)") == 1
    assert "Played with: spin draw" in sheet.text
    assert sheet.text.count("Pot 3 in the") == SHOTS
    assert sheet.text.count("Cue ball stopped at") == SHOTS


def test_nothing_runs_off_the_paper(played):
    sheet = sheet_of(played)
    margin = math.floor((SIDE_MM - 1) * PX_A_MM)
    for number, page in enumerate(sheet.document):
        assert page.get_size() == pytest.approx([mm * PT_A_MM for mm in A4_MM], abs=0.01)
        shown = sheet.page(number)
        assert (shown[:, :margin] == 255).all()
        assert (shown[:, -margin:] == 255).all()
        assert (shown < 128).any()
        assert f"page {number + 1}" in sheet.texts[number]


@pytest.mark.parametrize("facts", [10, 24, 28])
def test_the_stops_are_drawn_on_the_first_page_in_the_room_that_is_left(facts):
    svg = landings_svg([LandingPoint(label="1", along_mm=20.0, across_mm=9.0, verdict="in")])
    sheet = Sheet(
        practice_pdf(
            PracticeOnPaper(
                title="Stops", lead="", headline="Weak side: speed", lines=("One.", "Two."),
                facts=tuple(Fact(label=f"Fact {k}", value="1 of 2") for k in range(facts)),
                landings_svg=svg, landings_words="About the wanted spot.",
            )
        )
    )  # fmt: skip
    assert len(sheet.texts) == 1
    assert "About the wanted spot." in sheet.text
    inked = (sheet.page(0) < 200).any(axis=1).nonzero()[0]
    # what the foot says is the last line, and the drawing never runs into it
    assert np.diff(inked)[-40:].max() > 2 * PX_A_MM


def test_lengths_stand_in_the_unit_asked_for(played):
    metric, imperial = sheet_of(played), sheet_of(played, units="inches")
    stop = next(a for a in played.get("/attempts").json()["attempts"] if a["verdict"]["miss_mm"])[
        "verdict"
    ]["miss_mm"]
    assert f"Out by {stop:.0f} mm" in metric.text
    assert f"Out by {stop:.0f} mm" not in imperial.text
    assert " in" in imperial.text


def test_the_same_practice_gives_the_same_bytes(played):
    one, other = (played.get("/practices/1/report.pdf").content for _ in range(2))
    assert one == other


def test_a_long_practice_says_what_is_not_drawn(played, monkeypatch):
    monkeypatch.setattr(kept, "ATTEMPTS_DRAWN", 3)
    sheet = sheet_of(played)
    assert "Only the last 3 attempts are drawn." in sheet.text
    assert sheet.text.count("Cue ball stopped at") == 3


def test_an_empty_practice_is_a_sheet_too_and_none_is_refused(client):
    assert_problem(client.get("/practices/1/report.pdf"), 404, "not-found")
    client.post("/practices", json={"title": "Übung"})
    sheet = sheet_of(client)
    assert len(sheet.document) == 1
    assert sheet.text.startswith("No attempts yet")


def test_progress_page_hands_out_the_last_practice(played):
    page = played.get(f"{played.base_url.copy_with(path='/progress')}").text
    assert "/api/v1/practices/1/report.pdf?units=mm" in page


def test_without_a_practice_the_progress_page_offers_none(tmp_path):
    with running(tmp_path / "data") as address, Client(address) as client:
        client.put("/calibration", json=CALIBRATION.to_dict())
        assert "report.pdf" not in client.get(f"{address}progress").text
