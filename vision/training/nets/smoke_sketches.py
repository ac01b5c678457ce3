"""What the smoke demands of sketched crops: their truth is where the shipped network sees balls."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch

from . import train_crops
from .crop_net import NAMES
from .sketched import Sketcher
from .sketches.sets import LEAST_SETS, draw_sets
from .smoke_checks import demand
from .start_files import SHIPPED
from .starting import mean_of, starting

STILLS = 30
MEDIAN_MM, BIAS_MM, NAMED = 0.5, 0.06, 0.9
"""Beyond these the sketches' geometry, or their paint, is another one than the stills'."""


@torch.no_grad()
def sketches_are_true() -> None:
    """The shipped network finds balls of sketches where they were put, and names them."""
    torch.manual_seed(5)
    sketcher = Sketcher(*draw_sets(LEAST_SETS, 3), "cpu")
    net = starting(SHIPPED).eval()
    off, right, missed = [], [], 0
    for _ in range(STILLS // 10):
        sketch = sketcher.draw(10)
        for still in range(sketch.stills):
            mine = slice(still * sketch.each, (still + 1) * sketch.each)
            place, ball, names, _ = net(sketch.seen[mine])
            clear = (sketch.kind[mine] < NAMES) & (sketch.visible[mine] > 0.8)
            off.append((sketch.true_mm[mine] - place[:, :2])[clear].numpy())
            known = clear & (sketch.name_trust[mine] > 0)
            right.append((names.argmax(1) == sketch.kind[mine])[known].numpy())
            missed += int((ball[clear] < 0).sum())
    apart, named = np.concatenate(off), np.concatenate(right).mean()
    median = float(np.median(np.linalg.norm(apart, axis=1)))
    demand(median < MEDIAN_MM, "sketched balls, median mm off", median, f"below {MEDIAN_MM}")
    bias = float(np.abs(np.median(apart, axis=0)).max())
    demand(bias < BIAS_MM, "sketched balls, mm off to one side", bias, f"below {BIAS_MM}")
    demand(bool(named > NAMED), "sketched balls named rightly", float(named), f"above {NAMED}")
    demand(missed <= len(apart) // 50, "sketched balls not seen as balls", missed, "one in fifty")


def sketches_teach(folder: Path, check: Path, out: Path) -> None:
    """Training with sketches runs, and the mean of two files is the mean of their weights."""
    common = ["--set", str(folder), "--check", str(check), "--device", "cpu"]
    one, both = out / "sketched", out / "mean"
    train_crops.main(
        [*common, "--out", str(one), "--epochs", "1", "--start", SHIPPED,
         "--sketched", str(LEAST_SETS)]
    )  # fmt: skip
    taught = str(one / "crops.pt")
    train_crops.main([*common, "--out", str(both), "--epochs", "0", "--start", SHIPPED, taught])
    told, nets = starting(str(both / "crops.pt")), (starting(SHIPPED), starting(taught))
    far = max(
        float((a - b).abs().max())
        for a, b in zip(told.parameters(), mean_of(nets).parameters(), strict=True)
    )
    demand(far < 1e-6, "mean of two networks, weights off", far, "nothing")
    moved = max(
        float((a - b).abs().max())
        for a, b in zip(nets[0].parameters(), nets[1].parameters(), strict=True)
    )
    demand(moved > 0, "weights' change by a step with sketches", moved, "some: nothing was learned")
