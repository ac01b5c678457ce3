"""Weights that training goes on from: the shipped crop network, or one of an earlier training.

An exported network has its normalising layers folded into the convolutions before them; here they
are unfolded again so that they change nothing, and what was loaded must say what the file says.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime
import torch
from torch import nn

from vision.networks import CROPS_FILE
from vision.place.crops import CROP_SIDE

from .crop_net import CropNet
from .start_files import SHIPPED, StartError, shipped_file

ALIKE = 2e-3
"""Most that what is said of any crop may differ, in its own units: sums are ordered otherwise."""


def starting(given: str) -> CropNet:
    """The crop network of a ``crops.pt``, a ``crops.onnx``, or the ``shipped`` one.

    Raises:
        StartError: no such file, or another network's.
    """
    path = shipped_file(CROPS_FILE) if given == SHIPPED else Path(given)
    if not path.is_file() or path.suffix not in (".pt", ".onnx"):
        raise _refused(given, "no such file, or of another kind")
    net = CropNet()
    try:
        if path.suffix == ".onnx":
            _fill(net, path)
        else:
            net.load_state_dict(torch.load(path, weights_only=True, map_location="cpu"))
    except (RuntimeError, KeyError, ValueError, StopIteration) as wrong:
        first = str(wrong).splitlines()[0] if str(wrong) else type(wrong).__name__
        raise _refused(given, f"another network's weights ({first})") from None
    if path.suffix == ".onnx" and _farthest(net, path) > ALIKE:
        raise _refused(given, "a network that says something else than what was loaded of it")
    return net


def mean_of(nets: Sequence[CropNet]) -> CropNet:
    """The network whose every weight is the mean of those of ``nets``.

    Trainings that went on from the same weights err apart; what they have in common stays.
    """
    states = [net.state_dict() for net in nets]
    out = deepcopy(nets[0])
    out.load_state_dict(
        {
            name: torch.stack([state[name] for state in states]).mean(0)
            if value.dtype.is_floating_point
            else value
            for name, value in states[0].items()
        }
    )
    return out


def _refused(given: str, what: str) -> StartError:
    return StartError(
        f"--start: got {given}, {what}; allowed: {SHIPPED}, or crops.pt or crops.onnx of "
        "`python -m vision.training.nets.train_crops`. Give one of these."
    )


def _fill(net: CropNet, path: Path) -> None:
    """Put an exported network's numbers into ``net``."""
    import onnx
    from onnx import numpy_helper

    graph = onnx.load(str(path)).graph
    held = {each.name: numpy_helper.to_array(each) for each in graph.initializer}
    own = net.state_dict()
    # what the exporter renamed comes in the order in which the network uses it
    nameless = [
        [held[name] for name in node.input[1:] if name in held]
        for node in graph.node
        if node.op_type in ("Conv", "MatMul")
        and len(node.input) > 1
        and node.input[1] in held
        and node.input[1] not in own
    ]
    taken = iter(nameless)
    state = {name: torch.from_numpy(held[name].copy()) for name in own if name in held}
    modules = list(net.named_modules())
    for k, (name, part) in enumerate(modules):
        if isinstance(part, nn.Conv2d) and f"{name}.weight" not in held:
            kernel, shift = next(taken)
            norm_name, norm = modules[k + 1]
            assert isinstance(norm, nn.BatchNorm2d)
            ones = torch.ones(len(shift))
            state |= {
                f"{name}.weight": torch.from_numpy(kernel.copy()),
                f"{norm_name}.weight": ones,
                f"{norm_name}.bias": torch.from_numpy(shift.copy()),
                f"{norm_name}.running_mean": torch.zeros(len(shift)),
                f"{norm_name}.running_var": ones - norm.eps,
                f"{norm_name}.num_batches_tracked": torch.tensor(0),
            }
        elif isinstance(part, nn.Linear) and f"{name}.weight" not in held:
            (matrix,) = next(taken)
            state[f"{name}.weight"] = torch.from_numpy(matrix.T.copy())
    net.load_state_dict(state)


@torch.no_grad()
def _farthest(net: CropNet, path: Path) -> float:
    """How far what ``net`` says of some crops is from what the file's network says."""
    crops = np.random.default_rng(1).random((6, 3, CROP_SIDE, CROP_SIDE)).astype(np.float32)
    session: Any = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    said = session.run(None, {"crops": crops})
    mine = net.eval()(torch.from_numpy(crops))
    return max(float(np.abs(a - b.numpy()).max()) for a, b in zip(said, mine, strict=True))
