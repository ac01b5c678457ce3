"""Trains the crop network on cut crops and exports it.

``python -m vision.training.nets.train_crops --set DIR --check DIR --out DIR --epochs 60``

With ``--start shipped`` (or a file of an earlier training) it goes on from those weights, with
several from their mean, which is all that ``--epochs 0`` gives. With ``--sketched 105`` every step
sees as many sketched stills (``sketched``) as rendered ones, of so many ball sets. Where none of
the sets tells true places, what places balls stays as it is, bit for bit: a network must not learn
places from its own readings.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from calibration.arrays import FloatArray
from calibration.chi_square import PLANE_95
from vision.place.crops import CROP_SIDE, CROP_STEP_MM

from .crop_net import NAMES, CropNet, place_loss
from .cut_sets import ARRAYS, LEAST_VISIBLE, STORED_SIDE, STORED_STEP_MM
from .sketched import Sketch, Sketcher
from .sketches.sets import draw_sets
from .starting import mean_of, starting

MOST_CROPS = 26
"""Crops of a still that are looked at together: sixteen balls and some that are none."""
STILLS_A_STEP = 24
SHIFT_SIGMA_MM = 1.5
RATE, RATE_ON = 2.5e-3, 2e-4
"""Largest step of training from nothing, and of going on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CropSet:
    """Crops of many stills on one device, padded to ``MOST_CROPS`` a still."""

    crops: torch.Tensor
    """(N, side, side, 3), uint8."""
    offset_mm: torch.Tensor
    kind: torch.Tensor
    visible: torch.Tensor
    jacobian: torch.Tensor
    place_trust: torch.Tensor
    """What a crop counts where places are learned, and where names are; sets cut before these
    were kept tell exact truth."""
    name_trust: torch.Tensor
    index: torch.Tensor
    """Rows of each still's crops (S, MOST_CROPS), −1 where there are fewer."""

    @classmethod
    def read(cls, folders: Sequence[Path], device: str) -> CropSet:
        """Cut sets from their folders, as one."""
        parts = [{name: _array(folder, name) for name in ARRAYS} for folder in folders]
        counted = 0
        for part in parts:
            part["still"] = part["still"].astype(int) + counted
            counted = int(part["still"].max()) + 1
        loaded = {name: np.concatenate([part[name] for part in parts]) for name in ARRAYS}
        still = loaded["still"]
        rows = []
        # a still's crops lie beside each other
        for group in np.split(np.arange(len(still)), np.flatnonzero(np.diff(still)) + 1):
            mine = group[:MOST_CROPS]
            rows.append(np.pad(mine, (0, MOST_CROPS - len(mine)), constant_values=-1))
        return cls(
            crops=torch.from_numpy(loaded["crops"]).to(device),
            offset_mm=torch.from_numpy(loaded["offset_mm"]).to(device),
            kind=torch.from_numpy(loaded["kind"].astype(np.int64)).to(device),
            visible=torch.from_numpy(loaded["visible"]).to(device),
            jacobian=torch.from_numpy(loaded["jacobian"]).to(device),
            place_trust=torch.from_numpy(loaded["place_trust"]).to(device),
            name_trust=torch.from_numpy(loaded["name_trust"]).to(device),
            index=torch.from_numpy(np.stack(rows)).to(device),
        )

    @property
    def tells_places(self) -> bool:
        """Whether any place is truth."""
        return bool(self.place_trust.any())


def _array(folder: Path, name: str) -> NDArray[Any]:
    path = folder / f"{name}.npy"
    if name in ("place_trust", "name_trust") and not path.exists():
        return np.ones(len(np.load(folder / "kind.npy", mmap_mode="r")), np.float32)
    return np.asarray(np.load(path))


def resampled(
    crops: torch.Tensor, shift_mm: torch.Tensor, turn: torch.Tensor, grow: torch.Tensor,
    mirror: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Stored crops (N, side, side, 3) seen through the network's window (N, 3, 56, 56).

    A window pixel at w shows the stored place shift + grow · R(turn) · M · w, where M mirrors
    the second axis for ``mirror`` −1.
    """
    reach = (torch.arange(CROP_SIDE, device=crops.device) - (CROP_SIDE - 1) / 2) * CROP_STEP_MM
    across, away = torch.meshgrid(reach, reach, indexing="ij")
    across = across[None] * mirror[:, None, None]
    cos, sin = (part[:, None, None] * grow[:, None, None] for part in (turn.cos(), turn.sin()))
    place = torch.stack([cos * away - sin * across, sin * away + cos * across], -1)
    place = place + shift_mm[:, None, None]
    grid = place / (STORED_STEP_MM * STORED_SIDE / 2)
    picture = crops.permute(0, 3, 1, 2).float() / 255
    return functional.grid_sample(
        picture, grid, mode="bilinear", padding_mode="border", align_corners=False
    )


def seen_offset(
    offset_mm: torch.Tensor, shift_mm: torch.Tensor, turn: torch.Tensor, grow: torch.Tensor,
    mirror: torch.Tensor,
) -> torch.Tensor:  # fmt: skip
    """Where a stored offset (N, 2) lies in the window of ``resampled``, (N, 2)."""
    rest = (offset_mm - shift_mm) / grow[:, None]
    cos, sin = turn.cos(), turn.sin()
    x = cos * rest[:, 0] + sin * rest[:, 1]
    y = (-sin * rest[:, 0] + cos * rest[:, 1]) * mirror
    return torch.stack([x, y], -1)


def faulted(seen: torch.Tensor, still: torch.Tensor, stills: int) -> torch.Tensor:
    """Crops (N, 3, 56, 56) as other lamps and cameras would show them; alike within a still."""
    device = seen.device

    def drawn(*shape: int) -> torch.Tensor:
        return torch.randn(*shape, device=device)

    gain = (0.07 * drawn(stills, 3)).exp() * (0.16 * drawn(stills, 1)).exp()
    bend = (0.14 * drawn(stills, 1)).exp()
    lift = 0.02 * drawn(stills, 1)
    grey_mix = (1 - 0.25 * torch.rand(stills, 1, device=device) ** 2)[still]
    out = seen.clamp_min(1e-4) ** bend[still][..., None, None]
    out = out * gain[still][..., None, None] + lift[still][..., None, None]
    grey = out.mean(1, keepdim=True)
    out = grey + (out - grey) * grey_mix[..., None, None]
    # light that changes across the ball, as when a shadow's edge passes
    slope = 0.10 * drawn(len(seen), 2) * (torch.rand(len(seen), 1, device=device) < 0.4)
    reach = torch.linspace(-1, 1, CROP_SIDE, device=device)
    ramp = 1 + slope[:, :1, None] * reach[None, None] + slope[:, 1:, None] * reach[None, :, None]
    out = out * ramp[:, None]
    return _noisy(_soft(out, still, stills), still, stills).clamp(0, 1)


def _soft(seen: torch.Tensor, still: torch.Tensor, stills: int) -> torch.Tensor:
    """Blurred a little, or sharpened, by still."""
    kernel = torch.tensor([0.25, 0.5, 0.25], device=seen.device)
    weight = (kernel[:, None] * kernel).expand(3, 1, 3, 3)
    blurred = functional.conv2d(functional.pad(seen, (1, 1, 1, 1), "replicate"), weight, groups=3)
    amount = (torch.rand(stills, device=seen.device) * 1.5 - 0.5)[still][:, None, None, None]
    return seen + amount.clamp_min(-0.35) * (blurred - seen)


def _noisy(seen: torch.Tensor, still: torch.Tensor, stills: int) -> torch.Tensor:
    """Noise, finer and coarser (as compression leaves it), by still."""
    sigma = (0.03 * torch.rand(stills, device=seen.device) ** 2)[still][:, None, None, None]
    fine = torch.randn_like(seen)
    small = torch.randn(len(seen), 3, CROP_SIDE // 2, CROP_SIDE // 2, device=seen.device)
    coarse = functional.interpolate(small, scale_factor=2, mode="nearest")
    return seen + sigma * (0.7 * fine + 0.5 * coarse)


def covered(seen: torch.Tensor) -> torch.Tensor:
    """One crop in eight with a patch of another crop laid over a side of it."""
    count = len(seen)
    reach = torch.linspace(-1, 1, CROP_SIDE, device=seen.device)
    turn = torch.rand(count, device=seen.device) * 2 * np.pi
    edge = 0.25 + 0.6 * torch.rand(count, device=seen.device)
    edge = torch.where(torch.rand(count, device=seen.device) < 0.125, edge, 9.0)
    side = (
        turn.cos()[:, None, None] * reach[None, None]
        + turn.sin()[:, None, None] * reach[None, :, None]
    )
    mask = torch.sigmoid((side - edge[:, None, None]) * 40)[:, None]
    other = seen[torch.randperm(count, device=seen.device)]
    return seen * (1 - mask) + other * mask


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Sums over one step, weighed."""

    place: torch.Tensor
    ball: torch.Tensor
    name: torch.Tensor

    @property
    def total(self) -> torch.Tensor:
        """What is minimised."""
        return self.place + self.ball + 2.0 * self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Crops of S stills, one still's after the other's, with what they teach."""

    seen: torch.Tensor
    """(N, 3, 56, 56) BGR, 0 … 1."""
    true_mm: torch.Tensor
    kind: torch.Tensor
    place_weight: torch.Tensor
    name_weight: torch.Tensor
    present: torch.Tensor
    """Which of a still's ``MOST_CROPS`` there are, (S, MOST_CROPS)."""

    @classmethod
    def of_set(cls, data: CropSet, stills: torch.Tensor) -> Batch:
        """Stored crops of some stills, freshly shifted."""
        device = data.crops.device
        index = data.index[stills]
        rows = index[index >= 0]
        shift = SHIFT_SIGMA_MM * torch.randn(len(rows), 2, device=device)
        turn = 0.12 * torch.randn(len(rows), device=device)
        grow = 1 + 0.006 * torch.randn(len(rows), device=device)
        mirror = torch.where(torch.rand(len(rows), device=device) < 0.5, -1.0, 1.0)
        return cls(
            seen=resampled(data.crops[rows], shift, turn, grow, mirror),
            true_mm=seen_offset(data.offset_mm[rows], shift, turn, grow, mirror),
            kind=data.kind[rows], place_weight=data.place_trust[rows],
            name_weight=data.visible[rows].clamp(0, 1) ** 2 * data.name_trust[rows],
            present=index >= 0,
        )  # fmt: skip

    @classmethod
    def of_sketch(cls, sketch: Sketch) -> Batch:
        """Sketched crops as they are."""
        enough = (sketch.visible >= LEAST_VISIBLE).float()
        there = torch.arange(MOST_CROPS, device=sketch.seen.device) < sketch.each
        return cls(
            seen=sketch.seen, true_mm=sketch.true_mm, kind=sketch.kind, place_weight=enough,
            name_weight=sketch.visible**2 * sketch.name_trust,
            present=there.expand(sketch.stills, -1),
        )  # fmt: skip

    def beside(self, other: Batch) -> Batch:
        """Both, as one."""
        parts = {
            part.name: torch.cat([getattr(self, part.name), getattr(other, part.name)])
            for part in fields(self)
        }
        return Batch(**parts)


def step_losses(
    net: CropNet, data: CropSet, stills: torch.Tensor, sketch: Sketch | None = None
) -> Losses:
    """Losses of the crops of some stills, and of sketched ones, under fresh shifts and faults."""
    batch = Batch.of_set(data, stills)
    if sketch is not None:
        batch = batch.beside(Batch.of_sketch(sketch))
    present, kind = batch.present, batch.kind
    device, count = present.device, len(present)
    number = torch.arange(count, device=device)[:, None].expand_as(present)[present]
    seen = covered(faulted(batch.seen, number, count))
    place, ball, embedding = net.crops(seen)
    is_ball = kind < NAMES
    true = batch.true_mm[is_ball]
    near = (true.norm(dim=1) < 9.0).float() * batch.place_weight[is_ball]
    place_cost = (place_loss(place[is_ball], true) * near).mean()
    ball_cost = functional.binary_cross_entropy_with_logits(ball, is_ball.float())
    padded = torch.zeros(*present.shape, embedding.shape[1], device=device, dtype=embedding.dtype)
    padded[present] = embedding
    balls = torch.zeros_like(present)
    balls[present] = is_ball
    logits = net.names(padded, balls)[present][is_ball]
    each = functional.cross_entropy(logits, kind[is_ball], reduction="none")
    weight = batch.name_weight[is_ball]
    return Losses(place=place_cost, ball=2.0 * ball_cost, name=(each * weight).sum() / weight.sum())


def train(
    data: CropSet, check: CropSet, *, epochs: int, seed: int = 1, rate: float = RATE,
    start: CropNet | None = None, sketcher: Sketcher | None = None,
) -> tuple[CropNet, dict[str, float | None]]:  # fmt: skip
    """A trained network and its figures on ``check``; ``start`` is gone on from.

    What places balls learns only where ``data`` tells true places. With a ``sketcher`` every step
    sees as many sketched stills as of ``data``.
    """
    device = data.crops.device
    torch.manual_seed(seed)
    net = (CropNet() if start is None else deepcopy(start)).to(device)
    kept = (CropNet() if start is None else deepcopy(start)).to(device)
    if not data.tells_places:
        net.keep_places()
    moving = [part for part in net.parameters() if part.requires_grad]
    optimiser = torch.optim.AdamW(moving, lr=rate, weight_decay=0.02)
    a_round = _steps(data)
    plan = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, rate, total_steps=epochs * a_round, pct_start=0.1
    )
    started, done = time.monotonic(), 0
    for epoch in range(epochs):
        # few stills tell less of the usual spread of what a layer sees than all those before
        net.train() if start is None else net.train_steadily()
        order = torch.randperm(len(data.index), device=device)
        total = torch.zeros(3, device=device)
        for k in range(a_round):
            stills = order[k * STILLS_A_STEP : (k + 1) * STILLS_A_STEP]
            sketch = None if sketcher is None else sketcher.draw(len(stills))
            losses = step_losses(net, data, stills, sketch)
            optimiser.zero_grad(set_to_none=True)
            losses.total.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            optimiser.step()
            plan.step()
            _follow(kept, net, min(0.998, (1 + done) / (10 + done)))
            done += 1
            total += torch.stack([losses.place, losses.ball, losses.name]).detach()
        if epoch % 10 == 9 or epoch == epochs - 1:
            spent = time.monotonic() - started
            shown = " ".join(f"{v:.4f}" for v in (total / a_round).tolist())
            told = check_figures(kept, check)
            print(f"epoch {epoch + 1}: {shown} ({spent:.0f} s)", told, flush=True)
    return kept.eval(), check_figures(kept, check)


def _steps(data: CropSet) -> int:
    return max(1, len(data.index) // STILLS_A_STEP)


@torch.no_grad()
def _follow(kept: CropNet, net: CropNet, keep: float) -> None:
    """Move a slowly following copy: it is steadier than the last step."""
    for mine, theirs in zip(kept.state_dict().values(), net.state_dict().values(), strict=True):
        if mine.dtype.is_floating_point:
            mine.lerp_(theirs, 1 - keep)  # what is equal stays just that
        else:
            mine.copy_(theirs)


@torch.no_grad()
def outputs(net: CropNet, data: CropSet) -> dict[str, FloatArray]:
    """What the network says of every ball and empty place of a set, unfaulted."""
    net.eval()
    parts: list[tuple[torch.Tensor, ...]] = []
    for index in data.index:
        rows = index[index >= 0]
        none = torch.zeros(len(rows), device=rows.device)
        seen = resampled(
            data.crops[rows],
            torch.zeros(len(rows), 2, device=rows.device),
            none,
            none + 1,
            none + 1,
        )
        place, ball, names, _ = net(seen)
        parts.append((place, ball, names.log_softmax(-1), data.offset_mm[rows], data.kind[rows],
                      data.visible[rows], data.jacobian[rows]))  # fmt: skip
    joined = [torch.cat(column).double().cpu().numpy() for column in zip(*parts, strict=True)]
    names = ("place", "ball", "names", "offset_mm", "kind", "visible", "jacobian")
    return dict(zip(names, joined, strict=True))


def check_figures(net: CropNet, data: CropSet) -> dict[str, float | None]:
    """Accuracy on a set that was not trained on: mm in the table frame, names, ball or not.

    What is told of places is None where the set's places were only read.
    """
    said = outputs(net, data)
    is_ball = said["kind"] < NAMES
    clear = is_ball & (said["visible"] >= 0.8)
    off = said["offset_mm"] - said["place"][:, :2]
    table = np.einsum("kij,kj->ki", said["jacobian"], off)
    far = np.linalg.norm(table, axis=1)[clear]
    first, second = np.exp(said["place"][:, 2]), np.exp(said["place"][:, 3])
    scaled = np.stack([first * off[:, 0] + said["place"][:, 4] * off[:, 1], second * off[:, 1]])
    inside = ((scaled**2).sum(axis=0) <= PLANE_95)[clear]
    right = (said["names"].argmax(axis=1) == said["kind"])[clear]
    places: dict[str, float | None] = {
        "median_mm": round(float(np.median(far)), 4),
        "p95_mm": round(float(np.percentile(far, 95)), 4),
        "p99_mm": round(float(np.percentile(far, 99)), 4),
        "worst_mm": round(float(far.max()), 3),
        "coverage": round(float(inside.mean()), 4),
    }
    return {
        **(places if data.tells_places else dict.fromkeys(places)),
        "names": round(float(right.mean()), 5),
        "missed": int((said["ball"][clear] < 0).sum()),
        "invented": int((said["ball"][~is_ball] > 0).sum()),
        "balls": int(clear.sum()),
    }


def export(net: CropNet, path: Path) -> None:
    """Write the network as ONNX for one still's crops, any number of them."""
    example = torch.zeros(5, 3, CROP_SIDE, CROP_SIDE)
    torch.onnx.export(
        net.cpu().eval(), (example,), str(path), input_names=["crops"],
        output_names=["place", "ball", "names", "embedding"],
        dynamic_axes={name: {0: "K"} for name in ("crops", "place", "ball", "names", "embedding")},
        opset_version=17, dynamo=False,
    )  # fmt: skip


def main(arguments: list[str] | None = None) -> None:
    """Train and export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", type=Path, nargs="+", required=True, dest="folders")
    parser.add_argument("--check", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--epochs", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--start", nargs="+",
        help="go on from these weights: shipped, or crops.pt or crops.onnx of an earlier training; "
        "from the mean of several",
    )  # fmt: skip
    parser.add_argument(
        "--sketched", type=int, default=0, metavar="SETS",
        help="draw sketched stills of so many ball sets beside the rendered ones; default none",
    )  # fmt: skip
    parser.add_argument(
        "--rate", type=float, help=f"largest step; default {RATE:g}, going on {RATE_ON:g}"
    )
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    given = parser.parse_args(arguments)
    torch.set_float32_matmul_precision("high")
    data = CropSet.read(given.folders, given.device)
    checks = {folder.name: CropSet.read([folder], given.device) for folder in given.check}
    check = checks[given.check[0].name]
    start = None if given.start is None else mean_of([starting(each) for each in given.start])
    rate = given.rate or (RATE if start is None else RATE_ON)
    if start is not None:
        print("before", check_figures(deepcopy(start).to(given.device), check), flush=True)
    if not data.tells_places:
        print("no set tells true places: what places balls stays as it is", flush=True)
        if start is None:
            parser.error("--set: got places that were read; allowed: with --start")
    sketcher = None
    if given.sketched:
        sketcher = Sketcher(*draw_sets(given.sketched, given.seed), given.device)
    if given.epochs or start is None:
        net, figures = train(
            data, check, epochs=max(1, given.epochs), seed=given.seed, rate=rate, start=start,
            sketcher=sketcher,
        )  # fmt: skip
    else:
        net = start.to(given.device)
        figures = check_figures(net, check)
    given.out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), given.out / "crops.pt")
    export(net, given.out / "crops.onnx")
    told = {"check": figures}
    told |= {name: check_figures(net.to(given.device), some) for name, some in checks.items()}
    (given.out / "crops.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    print(json.dumps(told))


if __name__ == "__main__":
    main()
