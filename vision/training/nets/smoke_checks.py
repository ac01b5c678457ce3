"""What the smoke demands of each step of training."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import onnxruntime
import torch
from numpy.typing import NDArray

from calibration.errors import RestmarkError
from vision.find.detect import Finder, NetworkFinder
from vision.find.detect_ultralytics import WEIGHTS_FILE, UltralyticsFinder
from vision.networks import OWN_WEIGHTS, Networks, shipped
from vision.place.crops import CROP_STEP_MM
from vision.read import Reader
from vision.truth.file import TruthStill

from . import ship, train_crops, train_finder
from .crop_net import CropNet
from .start_files import SHIPPED
from .starting import starting
from .train_crops import CropSet, resampled, seen_offset

AIM_PX = 2.5
"""A box's middle within 8 mm of the ball: the crop network is aimed again from 4 mm on."""
EXPORT_TOLERANCE = 1e-3
"""Exported against trained network; sums are ordered otherwise."""
WINDOW_TOLERANCE_MM = 0.2
"""A spot's middle through bilinear sampling of crops with steps of 0.75 and 1.5 mm."""
SURE_SCORE = 0.5
SMALLER = 0.4
"""A byte for four is a quarter; steps and what is not rounded come to a little."""


class SmokeError(RestmarkError):
    """A step of training gives what it must not."""

    code = "smoke"


def demand(good: bool, what: str, got: object, allowed: str) -> None:
    """See that ``good`` holds.

    Raises:
        SmokeError: it does not.
    """
    if not good:
        raise SmokeError(f"{what}: got {got}; allowed: {allowed}. A step of training is broken.")


def window_moves_as_told(folder: Path) -> None:
    """A spot drawn into stored crops is seen where ``seen_offset`` says."""
    data = CropSet.read([folder], "cpu")
    count, side = 16, data.crops.shape[1]
    made = torch.Generator().manual_seed(3)
    place = 8 * torch.randn(count, 2, generator=made)
    shift, turn = 2 * torch.randn(count, 2, generator=made), torch.randn(count, generator=made)
    grow = 1 + 0.05 * torch.randn(count, generator=made)
    mirror = torch.where(torch.rand(count, generator=made) < 0.5, -1.0, 1.0)
    reach = (torch.arange(side) - (side - 1) / 2) * train_crops.STORED_STEP_MM
    far = (reach[None, None] - place[:, :1, None]) ** 2 + (
        reach[None, :, None] - place[:, 1:, None]
    ) ** 2
    spots = (255 * torch.exp(-far / (2 * 4.0**2)))[..., None].expand(-1, -1, -1, 3)
    seen = resampled(spots, shift, turn, grow, mirror)[:, 0]
    axis = (torch.arange(seen.shape[1]) - (seen.shape[1] - 1) / 2) * CROP_STEP_MM
    weight = seen.sum(dim=(1, 2))
    middle = torch.stack(
        [(seen * axis).sum(dim=(1, 2)), (seen * axis[:, None]).sum(dim=(1, 2))], -1
    )
    off = (middle / weight[:, None] - seen_offset(place, shift, turn, grow, mirror)).abs().max()
    demand(bool(off < WINDOW_TOLERANCE_MM), "spot in the window, mm off", float(off), "below 0.2")


def crops_train(folder: Path, check: Path, out: Path, *, epochs: int) -> None:
    """Training lowers the loss, and the exported network says what the trained one says."""
    data = CropSet.read([folder], "cpu")
    torch.manual_seed(1)
    before = _loss(CropNet(), data)
    train_crops.main(
        ["--set", str(folder), "--check", str(check), "--out", str(out), "--device", "cpu",
         "--epochs", str(epochs)]
    )  # fmt: skip
    net = CropNet()
    net.load_state_dict(torch.load(out / "crops.pt", weights_only=True))
    after = _loss(net, data)
    demand(after < before - 0.5, "crop network's loss", (before, after), "half a unit lower")
    crops = np.random.default_rng(1).integers(0, 255, (3, 56, 56, 3), np.uint8)
    said = Networks(finder=None, crops=_session(out / "crops.onnx")).judge(crops)
    with torch.no_grad():
        place, *_ = net.eval()(torch.from_numpy(crops).permute(0, 3, 1, 2).float() / 255)
    off = float(np.abs(said.offset_mm - place[:, :2].numpy()).max())
    demand(off < EXPORT_TOLERANCE, "exported crop network, mm off", off, "below 0.001")


def crops_go_on(folder: Path, check: Path, out: Path, *, epochs: int) -> None:
    """The shipped crop network learns from own readings, and places every ball as before."""
    data, checked = CropSet.read([folder], "cpu"), CropSet.read([check], "cpu")
    demand(not data.tells_places, "places of own readings", "truth", "none that counts as truth")
    before = starting(SHIPPED)
    train_crops.main(
        ["--set", str(folder), "--check", str(check), "--out", str(out), "--device", "cpu",
         "--epochs", str(epochs), "--start", SHIPPED]
    )  # fmt: skip
    after = starting(str(out / "crops.onnx"))
    losses = (_loss(before, data), _loss(after, data))
    demand(losses[1] < losses[0], "loss on own stills", losses, "lower after than before")
    said = [train_crops.outputs(net, checked) for net in (before, after)]
    off = float(np.abs(said[1]["place"] - said[0]["place"]).max())
    demand(off < EXPORT_TOLERANCE, "places after training further, mm off", off, "below 0.001")
    changed = float(np.abs(said[1]["names"] - said[0]["names"]).max())
    demand(changed > EXPORT_TOLERANCE, "names' change", changed, "some: nothing was learned")
    names = [train_crops.check_figures(net, checked)["names"] for net in (before, after)]
    demand(names[1] == 1.0, "names after training further", names, "all right, as before")


def finder_goes_on(folder: Path, check: Path, out: Path) -> None:
    """The shipped finder is trained further, exported and made 8-bit."""
    train_finder.main(
        ["--set", str(folder), "--check", str(check), "--out", str(out), "--device", "cpu",
         "--epochs", "1", "--batch", "2", "--workers", "0", "--start", "shipped"]
    )  # fmt: skip


def own_weights_read(trained: Path, stills: Path, truth: Mapping[str, TruthStill]) -> None:
    """Shipped, what was trained further reads a still, by itself and by ``ultralytics``."""
    ship.ship(trained, trained / "weights")
    name, still = next(iter(truth.items()))
    still.calibration.write(trained / "table.json")
    read = ("read", str(stills / name), "--calibration", str(trained / "table.json"), "--json")
    by_library = ("--finder", "ultralytics", "--weights", str(trained / "weights" / WEIGHTS_FILE))
    own = {**os.environ, OWN_WEIGHTS: str(trained / "weights")}
    for words, environment in ((read, own), ((*read, *by_library), dict(os.environ))):
        done = subprocess.run(
            [sys.executable, "-m", "service", *words], env=environment, check=True,
            capture_output=True, text=True,
        )  # fmt: skip
        found = [ball["id"] for ball in json.loads(done.stdout)["balls"]]
        wanted = [ball.id for ball in still.balls if ball.visible >= SURE_SCORE]
        demand(sorted(found) == sorted(wanted), f"balls by {words[-1]}", found, str(wanted))


@torch.no_grad()
def _loss(net: CropNet, data: CropSet) -> float:
    torch.manual_seed(2)
    copy = deepcopy(net).train()  # running means follow in training mode
    return float(train_crops.step_losses(copy, data, torch.arange(len(data.index))).total)


def finder_trains(folder: Path, check: Path, out: Path, *, epochs: int) -> None:
    """The finder trains, is exported and made 8-bit."""
    train_finder.main(
        ["--set", str(folder), "--check", str(check), "--out", str(out), "--device", "cpu",
         "--epochs", str(epochs), "--batch", "4", "--workers", "0"]
    )  # fmt: skip
    whole, small = ((out / name).stat().st_size for name in ("finder.onnx", "finder-int8.onnx"))
    demand(small < SMALLER * whole, "8-bit finder's bytes", small, f"below {SMALLER} of {whole}")


def trained_files_run(trained: Path, stills: Path, truth: Mapping[str, TruthStill]) -> None:
    """What was trained for moments can be shipped, loaded and asked, whatever it says."""
    size = ship.ship(trained, trained / "weights")
    demand(size <= ship.MOST_BYTES, "bytes of the weights", size, f"up to {ship.MOST_BYTES}")
    networks = Networks(
        finder=_session(trained / "weights" / "finder.onnx"),
        crops=_session(trained / "weights" / "crops.onnx"),
    )
    finders: list[Finder] = [
        NetworkFinder(networks=networks),
        UltralyticsFinder.load(trained / "weights" / "finder.pt"),
    ]
    name, still = next(iter(truth.items()))
    for finder in finders:
        reader = Reader(still.calibration, finder=finder, networks=networks)
        layout = reader.read_still((stills / name).read_bytes(), name=name)
        demand(layout.still == name, "still of the layout", layout.still, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _FloatFinder:
    """The exported network before its 8-bit step."""

    session: Any

    def boxes(self, view: NDArray[np.uint8]) -> NDArray[np.float32]:
        out = self.session.run(None, {"images": train_finder.to_input(view)})[0]
        return np.asarray(out[0].T, dtype=np.float32)


def checkpoint_finds_all(
    out: Path, views: Path, stills: Path, truth: Mapping[str, TruthStill]
) -> None:
    """The shipped checkpoint finds every ball by ``ultralytics``, exported, and 8-bit."""
    # the exporter writes beside what it exports, so the shipped folder must not be that place
    source = out / WEIGHTS_FILE
    source.write_bytes((files("vision") / "weights" / WEIGHTS_FILE).read_bytes())
    checkpoint = UltralyticsFinder.load(source)
    path = train_finder.export(UltralyticsFinder.load(source).model, out / "again")
    eight = train_finder.quantised(path, [views], out / "again" / "eight.onnx")
    finders: dict[str, Finder] = {
        "ultralytics": checkpoint,
        "exported": _FloatFinder(session=_session(path)),
        "8-bit": NetworkFinder(networks=Networks(finder=_session(eight), crops=None)),
        "shipped": NetworkFinder(networks=shipped()),
    }
    for kind, finder in finders.items():
        for name, still in truth.items():
            away = farthest_px(finder, stills / name, still)
            demand(away < AIM_PX, f"{kind} finder on {name}, px off", away, f"below {AIM_PX}")


def farthest_px(finder: Finder, path: Path, still: TruthStill) -> float:
    """How far the worst found ball's sure box lies from the ball, view pixels."""
    view = Reader(still.calibration).view
    picture = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_COLOR)
    boxes = finder.boxes(view.warp(np.asarray(picture, dtype=np.uint8)))
    sure = boxes[boxes[:, 4] > SURE_SCORE, :2] - 0.5
    if len(sure) == 0:
        return float("inf")
    balls = [(ball.x_mm, ball.y_mm) for ball in still.balls if ball.visible >= SURE_SCORE]
    away = np.linalg.norm(view.to_view(balls)[:, None] - sure[None], axis=-1)
    return float(away.min(axis=1).max())


def _session(path: Path) -> Any:
    return onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
