"""The pages for programs that call a service: their Python and their curl, run as they stand."""

import re
import runpy
import shlex
import shutil
from pathlib import Path

import httpx
import pytest
from api_kit import running
from docs_kit import FOLDER, README, ROOT, blocks
from sample_trial import finished_demo

from vision.read import read_still

ADDRESS = "http://127.0.0.1:8765"
LIMIT_S = 60
"""The first reading loads the networks."""
SHOTS = ROOT / "sample_frames" / "practice" / "shots"
PAGES = ("snapshots", "scoring-by-program", "recording-by-program")


@pytest.fixture
def service(tmp_path, monkeypatch):
    """A calibrated service that reads, and the files that the pages name in the folder."""
    for when in ("before", "after"):
        shutil.copy(SHOTS / f"shot-03-{when}.jpg", tmp_path / f"{when}.jpg")
    (tmp_path / "stills").mkdir()
    shutil.copy(tmp_path / "before.jpg", tmp_path / "stills" / "before.jpg")
    (tmp_path / "stills" / "torn.jpg").write_bytes(b"no picture")
    (intent,) = blocks(README, "json")
    (tmp_path / "intent.json").write_text(intent, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with running(tmp_path / "data", read=read_still) as address:
        table = finished_demo().trial.calibration.to_dict()
        answer = httpx.put(f"{address}api/v1/calibration", json=table, verify=False)
        assert answer.is_success, answer.text
        yield address.rstrip("/")


def text_of(page):
    return (FOLDER / f"{page}.md").read_text(encoding="utf-8")


def run_python(page, address, tmp_path):
    (example,) = blocks(text_of(page), "python")
    assert ADDRESS in example
    path = tmp_path / "example.py"
    path.write_text(example.replace(ADDRESS, address), encoding="utf-8")
    return runpy.run_path(str(path))


def curl(line, address):
    """A line for curl, sent as it would send it."""
    words = iter(shlex.split(line)[1:])
    sent = {"method": "GET", "headers": {}}
    out = None
    for word in words:
        if word == "-T":
            sent |= {"content": Path(next(words)).read_bytes(), "method": "PUT"}
        elif word == "-d":
            sent |= {"content": next(words), "method": "POST"}
        elif word == "-X":
            sent["method"] = next(words)
        elif word == "-H":
            name, _, value = next(words).partition(": ")
            sent["headers"][name] = value
        elif word == "-o":
            out = next(words)
        else:
            assert word.startswith(ADDRESS), word
            url = word.replace(ADDRESS, address)
    answer = httpx.request(**sent, url=url, timeout=LIMIT_S, verify=False)
    if out is not None:
        Path(out).write_bytes(answer.content)
    return answer


def curl_lines(page):
    lines = "".join(blocks(text_of(page))).splitlines()
    return [line for line in lines if line.startswith("curl ")]


@pytest.mark.parametrize("page", [*PAGES, "archives"])
def test_the_lines_for_curl_work_in_their_order(service, page, tmp_path):
    assert len(curl_lines(page)) >= 2
    for line in curl_lines(page):
        answer = curl(line, service)
        assert answer.is_success, (line, answer.text)


def test_a_still_after_each_shot(service, tmp_path, capsys):
    run_python("snapshots", service, tmp_path)
    lines = capsys.readouterr().out.splitlines()
    assert "torn.jpg: refused, bad-still" in lines
    balls = [line for line in lines if line.startswith("before.jpg: ")]
    assert any(re.match(r"before\.jpg: cue at x \d+\.\d, y \d+\.\d mm", line) for line in balls)
    held = httpx.get(f"{service}/api/v1/stills", verify=False).json()["stills"]
    run_python("snapshots", service, tmp_path)
    assert httpx.get(f"{service}/api/v1/stills", verify=False).json()["stills"] == held


def test_automatic_scoring(service, tmp_path, capsys):
    run_python("scoring-by-program", service, tmp_path)
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("stop near [")
    assert said[1].startswith("out 10")
    assert said[2].startswith("attempt 1: out, p 0.")
    assert len(said[3]) > 10


def test_recording_layouts(service, tmp_path, capsys):
    run_python("recording-by-program", service, tmp_path)
    titles, said = capsys.readouterr().out.splitlines()
    assert titles == "['Second ball to the side']"
    assert said
    assert (tmp_path / "layout.pdf").read_bytes().startswith(b"%PDF")
    assert "<svg" in (tmp_path / "mirrored.svg").read_text(encoding="utf-8")
