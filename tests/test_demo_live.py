"""``demo --live``: the samples watched as if by a camera, each shot understood and judged."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import numpy as np
import pytest
import sample_clip
from api_kit import free_port
from sample_trial import finished_demo

from calibration.table import Table
from service.cli import main
from service.demo import live
from service.demo.samples import CLIP_FOLDER, PRACTICE_SURFACE, SHOTS_FOLDER, sample_folder
from service.position import Intent, score_shot
from vision.layout import Ball, Layout

WAIT_S = 240.0
"""Longer than the whole practice takes on a machine that others use too."""
CLIP_LIMIT_MB = 4.0
REST_MM = 1.5
"""Of the clip's cue ball: a reading's 95 % error, and what the video's packing adds."""
ARRIVAL_DEG = 10.0
"""The shortest way seen is a few ball widths long."""
PLACE_MM = 0.05
"""Places of the truth file are rounded."""


@pytest.fixture(scope="module")
def clip() -> dict:
    return json.loads((sample_folder(CLIP_FOLDER) / "played.json").read_text())


@pytest.fixture(scope="module")
def played():
    """What the service holds once everything was shown, and its folder, which is gone by then."""
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "service", "demo", "--live", "--pace", "0.1",
         "--port", str(port)],
        stdout=subprocess.PIPE, text=True,
        env={k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
        | {"OMP_NUM_THREADS": "1"},
    )  # fmt: skip
    try:
        line = process.stdout.readline()
        assert f"Restmark is at http://127.0.0.1:{port}/" in line, line
        folder = Path(line.split()[-1])
        with httpx.Client(base_url=f"http://127.0.0.1:{port}/api/v1", timeout=WAIT_S) as client:
            give_up = time.monotonic() + WAIT_S
            while client.get("/watch").json()["state"] == "watching":
                assert time.monotonic() < give_up
                time.sleep(0.3)
            found = {
                "page": client.get(f"http://127.0.0.1:{port}/").text,
                "watch": client.get("/watch").json(),
                "practices": client.get("/practices").json()["practices"],
                "attempts": client.get("/attempts?limit=100").json()["attempts"][::-1],
                "readings": client.get("/readings?limit=100").json()["readings"][::-1],
                "was_there": folder.is_dir(),
            }
        process.send_signal(signal.SIGTERM)
        process.wait(WAIT_S)
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
    return found | {"folder": folder}


def test_every_shot_of_stills_and_clip_is_an_attempt_of_the_open_practice(played):
    assert played["watch"]["said"] == "The source has come to its end."
    (practice,) = played["practices"]
    assert (practice["title"], practice["finished_at"]) == (live.TITLE, None)
    assert len(played["attempts"]) == len(live.sample_plan()) == 14
    assert {attempt["practice_id"] for attempt in played["attempts"]} == {practice["id"]}
    assert {reading["still"]["source"] for reading in played["readings"]} == {"watched"}


def test_stills_get_the_verdicts_of_the_sample_practice(played):
    """The same stills read and scored in one go, without a service."""
    known = [attempt.verdict for attempt in finished_demo().trial.result.attempts]
    for attempt, verdict in zip(played["attempts"], known, strict=False):
        got = attempt["verdict"]
        assert (got["verdict"], sorted(got["potted"]), got["scratch"]) == (
            verdict.verdict, sorted(verdict.potted), verdict.scratch,
        )  # fmt: skip


def test_the_clip_is_read_as_it_was_played(played, clip):
    table = Table.from_surface(PRACTICE_SURFACE)
    attempts, ends = played["attempts"][-2:], played["readings"][-2:]
    for attempt, end, shot, meant in zip(
        attempts, ends, clip["shots"], live.sample_plan()[-2:], strict=True
    ):
        cue = next(ball for ball in end["layout"]["balls"] if ball["id"] == "cue")
        assert (cue["x_mm"], cue["y_mm"]) == pytest.approx(shot["after"]["cue"], abs=REST_MM)
        assert len(end["layout"]["balls"]) == len(shot["after"])
        true = score_shot(laid(shot["before"]), laid(shot["after"]), Intent.from_dict(meant), table)
        got = attempt["verdict"]
        assert (got["verdict"], got["potted"]) == (true.verdict, list(true.potted))
        assert got["arrival"] == "seen"
        came = np.subtract(shot["after"]["cue"], end["outcome"]["seen"]["came_from_mm"])
        off = np.degrees(np.arctan2(came[1], came[0])) - shot["heading_deg"]
        assert abs((off + 180) % 360 - 180) < ARRIVAL_DEG


def laid(places) -> Layout:
    return Layout(
        still="clip",
        surface_mm=Table.from_surface(PRACTICE_SURFACE).surface_mm,
        balls=tuple(Ball(id=name, x_mm=x, y_mm=y) for name, (x, y) in places.items()),
    )


def test_nothing_is_left_behind(played):
    assert played["was_there"]
    assert not played["folder"].parent.exists()


def test_the_clip_is_small_and_is_what_its_recipe_makes(clip):
    film = sample_folder(CLIP_FOLDER) / live.CLIP_FILE
    assert film.stat().st_size <= CLIP_LIMIT_MB * 1e6
    balls, table = sample_clip.BALLS, Table.from_surface(PRACTICE_SURFACE)
    for shot, played in zip(clip["shots"], sample_clip.PLAYED, strict=True):
        _, made = sample_clip.struck(balls, *played, table)
        for kept, places in ((shot["before"], balls), (shot["after"], made.after)):
            assert set(kept) == set(places)
            for name, at in places.items():
                assert kept[name] == pytest.approx(at, abs=PLACE_MM)
        balls = made.after
    assert live.sample_plan()[-2:] == [Intent.from_dict(s).to_dict() for s in sample_clip.SHOTS]


def test_a_stopped_source_ends_between_its_stills():
    source = live.SampleCamera(pace_s=60.0)
    source.close()
    assert list(source.frames()) == []


def test_a_desktop_s_browser_is_opened_and_nothing_elsewhere(monkeypatch):
    opened = []
    monkeypatch.setattr(live.webbrowser, "open", opened.append)
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(live.sys, "platform", "linux")
    live.show_page("http://127.0.0.1:1/")
    assert opened == []
    monkeypatch.setenv("DISPLAY", ":0")
    live.show_page("http://127.0.0.1:1/")
    assert opened == ["http://127.0.0.1:1/"]


def test_live_beside_serve_is_refused(capsys):
    assert main(["demo", "--live", "--serve"]) == 2
    assert "leave --serve out" in capsys.readouterr().err


def test_the_sample_stills_come_before_before_after():
    names = [path.name for path in live.in_order(list(sample_folder(SHOTS_FOLDER).glob("*.jpg")))]
    assert names[:2] == ["shot-01-before.jpg", "shot-01-after.jpg"]
