"""A newcomer's walk: README's steps as typed, the example for programs, the pages served."""

import glob
import json
import re
import runpy
import shlex
import shutil

import httpx
import pytest
from api_kit import running
from docs_kit import FOLDER, README, ROOT, blocks
from sample_trial import finished_demo

from service.cli import main
from service.docs.pages import PAGES
from vision.read import read_still

JSON = {"content-type": "application/json"}
LIMIT_S = 60
"""The first reading loads the networks."""
SHOT = "shot-03"
MISS_MM = 103.0
MISS_LIMIT_MM = 2.0
"""The miss that the drawing shows against the reading's: a few times its stated error."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A fresh folder with the sample stills beside it, as a clone has them."""
    place = tmp_path_factory.mktemp("walk")
    (place / "sample_frames").symlink_to(ROOT / "sample_frames")
    return place


@pytest.fixture
def shot(folder, monkeypatch):
    """Stills, calibration and intent under the names that the documents use."""
    monkeypatch.chdir(folder)
    finished_demo().trial.calibration.write(folder / "table.json")
    (intent,) = blocks(README, "json")
    (folder / "intent.json").write_text(intent, encoding="utf-8")
    for when in ("before", "after"):
        still = ROOT / "sample_frames" / "practice" / "shots" / f"{SHOT}-{when}.jpg"
        shutil.copy(still, folder / f"{when}.jpg")
    return folder


def steps():
    """Commands of README's steps, in order, and the intent that one of them needs."""
    text = README.split("\n## Five steps")[1].split("\n## ")[0]
    lines = [line for block in blocks(text) for line in block.splitlines()]
    return [line for line in lines if line.startswith("restmark ")]


def typed(line):
    """A line as the shell hands it over."""
    words = shlex.split(line)[1:]
    return [found for word in words for found in (sorted(glob.glob(word)) or [word])]


def test_the_steps_work_as_typed(folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    (intent,) = blocks(README, "json")
    (folder / "intent.json").write_text(intent, encoding="utf-8")
    for line in steps():
        assert main(typed(line)) == 0, line
    assert [line.split()[1] for line in steps()] == [
        "board",
        "lens",
        "calibrate",
        "score",
        "session",
        "progress",
    ]
    capsys.readouterr()
    (scoring,) = (line for line in steps() if "score" in line)
    assert main([*typed(scoring), "--json"]) == 0
    miss_mm = json.loads(capsys.readouterr().out)["miss_mm"]
    assert miss_mm == pytest.approx(MISS_MM, rel=0, abs=MISS_LIMIT_MM)
    assert main(["progress", "--data", "practice", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["progress"]["sessions"]) == 1
    assert all((folder / name).exists() for name in ("board.pdf", "lens.json", "table.json"))


def test_the_example_for_programs_runs_and_has_ten_lines(shot, capsys):
    (example,) = blocks((FOLDER / "programs.md").read_text(encoding="utf-8"), "python")
    assert len([line for line in example.splitlines() if line]) == 10
    (shot / "example.py").write_text(example, encoding="utf-8")
    got = runpy.run_path(str(shot / "example.py"))["verdict"]
    assert got.miss_mm == pytest.approx(MISS_MM, rel=0, abs=MISS_LIMIT_MM)
    assert capsys.readouterr().out.startswith("out 10")


def test_a_layout_is_recorded_laid_and_exported_as_the_page_tells(shot, capsys):
    text = (FOLDER / "layouts.md").read_text(encoding="utf-8")
    lines = blocks(text)[0].splitlines()
    # the guide's exit status tells that the table does not lie so yet
    assert [main(typed(line)) for line in lines] == [0, 1, 0, 0]
    said = capsys.readouterr().out
    assert "stand right. Next: " in said
    assert all((shot / name).exists() for name in ("three.json", "three.pdf", "thursday.html"))


def test_the_service_shows_the_pages_and_their_links_lead_somewhere(tmp_path):
    with running(tmp_path / "data") as address, httpx.Client(base_url=address) as client:
        listed = client.get("/docs").text
        for name in PAGES:
            assert f'href="/docs/{name}"' in listed
            answer = client.get(f"/docs/{name}")
            assert answer.status_code == 200
            for link in re.findall(r'(?:href|src)="([^"]+)"', answer.text):
                assert client.get(httpx.URL(f"{address}docs/{name}").join(link)).is_success, link
        missing = client.get("/docs/nothing")
        assert missing.status_code == 404
        assert missing.headers["content-type"] == "application/problem+json"


def test_the_service_takes_what_its_page_tells_to_send(shot, tmp_path):
    """The lines for ``curl``, sent as it would send them."""
    text = (FOLDER / "service.md").read_text(encoding="utf-8")
    lines = [shlex.split(line) for line in "".join(blocks(text)).splitlines()]
    sent = [dict(zip(words[1:-1:2], words[2:-1:2], strict=True)) | {"to": words[-1]}
            for words in lines if words[0] == "curl"]  # fmt: skip
    assert len(sent) == 3
    data = tmp_path / "data"
    with (
        running(data, read=read_still) as address,
        httpx.Client(base_url=address, timeout=LIMIT_S) as client,
    ):
        table = (shot / "table.json").read_bytes()
        answer = client.put("/api/v1/calibration", content=table, headers=JSON)
        assert answer.is_success, answer.text
        for call in sent:
            kind, value = call["-H"].split(": ")
            target = httpx.URL(call["to"]).raw_path.decode()
            body = (shot / call["-T"]).read_bytes()
            answer = client.request(call["-X"], target, content=body, headers={kind: value})
            assert answer.is_success, answer.text
        assert client.get("/api/v1/attempts").json()["attempts"][0]["verdict"]["verdict"] == "out"
