"""The set-up guide by this device's own camera: a film of the table stands before the browser."""

from importlib.resources import files
from pathlib import Path

from api_kit import Client, running
from camera_kit import browser_with_camera, film, picture
from page_kit import Tab
from playwright.sync_api import expect

from service.desk.readers import TableReaders
from vision.truth.file import read_truth

SHOTS = Path(str(files("sample_frames"))) / "practice" / "shots"
LOOKED_MS = 20_000
"""The first look loads the networks, on a machine that may be busy."""


def test_the_guide_is_live_by_this_device_s_camera(tmp_path):
    """The camera shows the table as it is to lie; nothing of what it shows is kept."""
    truth = read_truth(SHOTS)
    first, later = "shot-01-before.jpg", "shot-03-before.jpg"
    video = film(tmp_path / "table.y4m", picture(SHOTS / first))
    with (
        running(tmp_path / "data", read=TableReaders()) as address,
        Client(address) as client,
        browser_with_camera(video) as browser,
        Tab(browser, address, permissions=["camera"]) as page,
    ):
        client.put("/calibration", json=truth[first].calibration.to_dict())
        client.give((SHOTS / first).read_bytes(), first)
        client.put("/guide", json={"reading_id": 1})
        client.give((SHOTS / later).read_bytes(), later)
        page.goto(f"{address}guide")
        expect(page.locator("#link")).to_have_text("Live")
        expect(page.locator("#said")).to_contain_text("stand right. Next: ")
        before = client.holds()
        page.get_by_role("button", name="This device's camera, live").click()
        expect(page.locator("#said")).to_contain_text("Done: ", timeout=LOOKED_MS)
        expect(page.locator("#seen")).to_be_visible()
        page.get_by_role("button", name="This device's camera, live").click()
        # back to the stills that arrive
        expect(page.locator("#said")).to_contain_text("stand right. Next: ", timeout=LOOKED_MS)
        assert client.holds() == before
