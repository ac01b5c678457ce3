"""Takes work out of the exported finder that no answer needs: it then says the same, sooner.

Boxes are worked out for the likeliest places alone, not for all 6188 of a view, and pictures go in
as the bytes they are.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

MOST_PLACES = 300
"""Places whose boxes are worked out; a view shows sixteen balls and few things."""
BINS = 16
"""Steps in which the trainer's head tells each side's distance."""
FIRST = "images"
HALF_A_BYTE = 0.5 / 255


def spared(source: Path, target: Path) -> Path:
    """The 8-bit finder of ``source`` with byte pictures in and its likeliest boxes out.

    Input ``images`` (1, 3, H, W) RGB, uint8; output (1, 6, at most ``MOST_PLACES``), the
    likeliest first. ``ValueError`` for a network that ``train_finder`` did not make.
    """
    import onnx

    model = onnx.load(str(source))
    _take_bytes(model.graph)
    _likeliest_boxes(model.graph)
    onnx.checker.check_model(model)
    onnx.save(model, str(target))
    return target


def _take_bytes(graph: Any) -> None:
    """Let the picture in where its first rounding would have come out."""
    from onnx import TensorProto, numpy_helper

    first = next((node for node in graph.node if FIRST in node.input), None)
    if first is None or first.op_type != "QuantizeLinear":
        raise ValueError(f"finder: got {first and first.op_type} first; allowed: QuantizeLinear")
    held = {part.name: part for part in graph.initializer}
    scale = float(numpy_helper.to_array(held[first.input[1]]))
    zero = int(numpy_helper.to_array(held[first.input[2]]))
    if zero != 0 or abs(255 * scale - 1) > HALF_A_BYTE:
        raise ValueError(f"finder: got steps of {scale} from {zero}; allowed: 1/255 from 0")
    held[first.input[1]].CopyFrom(
        numpy_helper.from_array(np.array(1 / 255, np.float32), first.input[1])
    )
    for node in graph.node:
        for k, name in enumerate(node.input):
            if name == first.output[0]:
                node.input[k] = FIRST
    graph.node.remove(first)
    graph.input[0].type.tensor_type.elem_type = TensorProto.UINT8


def _likeliest_boxes(graph: Any) -> None:
    """Put our own tail behind the head's raw answers, and drop what it replaces."""
    from onnx import helper, numpy_helper

    sides, scores, anchors, steps = _raw_answers(graph)
    values = {
        "most": np.array([MOST_PLACES], np.int64),
        "parts": np.array([1, 4, BINS, -1], np.int64),
        "bins": np.arange(BINS, dtype=np.float32)[None, None, :, None],
        "bin-axis": np.array([2], np.int64),
        "half": np.array(0.5, np.float32),
        "zero-axis": np.array([0], np.int64),
    }
    graph.initializer.extend(numpy_helper.from_array(v, k) for k, v in values.items())
    made = helper.make_node
    tail = [
        made("ReduceMax", [scores], ["best"], axes=[1], keepdims=0),
        made("Shape", ["best"], ["best-shape"], start=1),
        made("Min", ["best-shape", "most"], ["count"]),
        made("TopK", ["best", "count"], ["best-of-all", "where-rows"], axis=1),
        made("Squeeze", ["where-rows", "zero-axis"], ["where"]),
        made("Gather", [scores, "where"], ["scores-there"], axis=2),
        made("Sigmoid", ["scores-there"], ["likely"]),
        made("Gather", [sides, "where"], ["sides-there"], axis=2),
        made("Gather", [anchors, "where"], ["anchors-there"], axis=2),
        made("Gather", [steps, "where"], ["steps-there"], axis=1),
        made("Reshape", ["sides-there", "parts"], ["sides-apart"]),
        made("Softmax", ["sides-apart"], ["sides-odds"], axis=2),
        made("Mul", ["sides-odds", "bins"], ["sides-weighed"]),
        made("ReduceSum", ["sides-weighed", "bin-axis"], ["reach"], keepdims=0),
        made("Split", ["reach"], ["low", "high"], axis=1),
        made("Sub", ["high", "low"], ["lean"]),
        made("Mul", ["lean", "half"], ["half-lean"]),
        made("Add", ["anchors-there", "half-lean"], ["middle"]),
        made("Add", ["high", "low"], ["size"]),
        made("Concat", ["middle", "size"], ["frames"], axis=1),
        made("Mul", ["frames", "steps-there"], ["frames-px"]),
        made("Concat", ["frames-px", "likely"], ["output0"], axis=1),
    ]
    graph.node.remove(_maker(graph, "output0"))
    graph.node.extend(tail)
    _drop_dead(graph)
    places = graph.output[0].type.tensor_type.shape.dim[2]
    places.Clear()
    places.dim_param = "places"


def _raw_answers(graph: Any) -> tuple[str, str, str, str]:
    """Names of the sides' steps (1, 64, N), scores (1, 2, N), anchors (1, 2, N), steps (1, N)."""
    by_name = {node.name.split("/model.16/")[-1]: node for node in graph.node}
    try:
        last = _maker(graph, "output0")
        scaled, likely = (_maker(graph, name) for name in last.input)
        frames, steps = scaled.input
        middle = _maker(graph, _maker(graph, frames).input[0])
        low = _maker(graph, _maker(graph, middle.input[0]).input[0])
        return by_name["dfl/Reshape"].input[0], likely.input[0], low.input[0], steps
    except (KeyError, StopIteration, IndexError, ValueError) as wrong:
        raise ValueError("finder: its last steps are not those of the trainer's head") from wrong


def _maker(graph: Any, name: str) -> Any:
    return next(node for node in graph.node if name in node.output)


def _drop_dead(graph: Any) -> None:
    """Remove nodes and constants that nothing asks for."""
    while True:
        asked = {name for node in graph.node for name in node.input} | {
            part.name for part in graph.output
        }
        dead = [node for node in graph.node if not asked & set(node.output)]
        if not dead:
            break
        for node in dead:
            graph.node.remove(node)
    for part in [part for part in graph.initializer if part.name not in asked]:
        graph.initializer.remove(part)
