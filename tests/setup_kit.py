"""What tests of the set-up share: the sample's stills, and work that is waited for."""

import json
import time
from pathlib import Path

import cv2
import httpx
import numpy as np
from api_kit import Client

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.demo.samples import BOARD_FOLDER, EMPTY_STILL, sample_folder, sample_stills

EMPTY: Path = sample_folder(EMPTY_STILL)
SHOT: Path = sample_folder("practice/shots") / "shot-01-before.jpg"
HEIGHT = "2650"
"""Of the lens above the bed in the sample, mm, as a tape measure would have it."""
PATIENCE_S = 60.0
"""A calibration takes two seconds on a quiet machine."""


def boards() -> list[Path]:
    """The sample's stills of its lens board, an A3 sheet."""
    return sample_stills(BOARD_FOLDER)


def keep(client: Client, path: Path | bytes, name: str = "") -> str:
    """Hold a still in the set-up; its number."""
    data = path if isinstance(path, bytes) else path.read_bytes()
    answer = client.post(
        "/setup/stills",
        params={"name": name or (path.name if isinstance(path, Path) else "still")},
        content=data,
        headers={"Content-Type": "application/octet-stream"},
    )
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def done(client: Client, answer: httpx.Response, **params: str) -> dict:
    """The work of an answer once it is done or refused."""
    assert answer.status_code == 202, answer.text
    number = answer.json()["id"]
    give_up = time.monotonic() + PATIENCE_S
    while True:
        body = client.get(f"/setup/tasks/{number}", params=params).json()
        if body["state"] in ("done", "refused"):
            return body
        assert time.monotonic() < give_up, body
        time.sleep(0.05)


def propose(client: Client, still: str, **more: object) -> dict:
    """A calibration of the sample's table, worked out."""
    asked = {"still": still, "surface": "9ft", "head": "left"} | more
    return done(client, client.post("/setup/calibrations", json=asked))


def flat_picture(size_px: tuple[int, int] = (960, 540), kind: str = ".jpg") -> bytes:
    """A still of nothing."""
    wide, high = size_px
    return cv2.imencode(kind, np.full((high, wide, 3), 90, np.uint8))[1].tobytes()


def truth() -> tuple[dict[str, tuple[float, float]], Calibration]:
    """Where the rendered camera has every sight and nose point."""
    said = json.loads((EMPTY.parent / "truth.json").read_text())["stills"][EMPTY.name]
    camera, table = Camera.from_dict(said["camera"]), Table.from_dict(said["table"])
    places = {name: (*at, table.rail_cap_height_mm) for name, at in table.sights_mm.items()}
    for pocket in table.pockets:
        for number, at in enumerate(pocket.nose_points_mm, start=1):
            places[f"{pocket.name}/{number}"] = (*at, table.nose_height_mm)
    seen = camera.project(np.array(list(places.values())))
    exact = Calibration.exact(camera, table)
    return dict(zip(places, map(tuple, seen.tolist()), strict=True)), exact
