"""Takes work out of the exported finder that no answer needs: it then says the same, sooner.

Pictures go in as the bytes they are, two by two pixels beside each other so that the first layer
reads long rows; and only the likeliest of a view's 6188 places come out.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

MOST_PLACES = 300
"""Places that are told; a view shows sixteen balls and few things."""
FIRST, LAST = "images", "output0"
HALF_A_BYTE = 0.5 / 255


def spared(source: Path, target: Path) -> Path:
    """The 8-bit finder of ``source`` with byte pictures in and the likeliest places out.

    Input ``images`` (1, H/2, W/2, 12), uint8: of every two by two pixels blue, green, red, row by
    row; output (1, 6, at most ``MOST_PLACES``), the likeliest first. ``ValueError`` for a network
    that ``train_finder`` did not make.
    """
    import onnx

    model = onnx.load(str(source))
    _take_bytes(model.graph)
    _fold_first_layer(model.graph)
    _likeliest_places(model.graph)
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


def _fold_first_layer(graph: Any) -> None:
    """Turn the first layer, 3 by 3 in steps of two, into 2 by 2 over cells of four pixels."""
    from onnx import helper, numpy_helper

    held = {part.name: part for part in graph.initializer}
    start = next(node for node in graph.node if FIRST in node.input)
    layer = next(node for node in graph.node if start.output[0] in node.input)
    told = {part.name: helper.get_attribute_value(part) for part in layer.attribute}
    known = (told.get("kernel_shape"), told.get("strides"), told.get("pads"))
    if layer.op_type != "Conv" or known != ([3, 3], [2, 2], [1, 1, 1, 1]):
        raise ValueError(f"finder: got a first layer of {known}; allowed: 3 by 3 in steps of 2")
    weights = next(node for node in graph.node if layer.input[1] in node.output).input[0]
    held[weights].CopyFrom(
        numpy_helper.from_array(folded(numpy_helper.to_array(held[weights])), weights)
    )
    for name, value in {"kernel_shape": [2, 2], "strides": [1, 1], "pads": [1, 1, 0, 0]}.items():
        part = next(part for part in layer.attribute if part.name == name)
        part.CopyFrom(helper.make_attribute(name, value))
    start.input[list(start.input).index(FIRST)] = "cells"
    graph.node.insert(0, helper.make_node("Transpose", [FIRST], ["cells"], perm=[0, 3, 1, 2]))
    sides = graph.input[0].type.tensor_type.shape.dim
    for side, name in zip(sides, ("stills", "cell-rows", "cell-columns"), strict=False):
        side.Clear()
        side.dim_param = name
    sides[3].Clear()
    sides[3].dim_value = 12


def folded(weights: NDArray[np.int8]) -> NDArray[np.int8]:
    """Weights (K, 3 RGB, 3, 3) in steps of two as (K, 12, 2, 2) over cells of two by two pixels.

    A cell's channels are blue, green, red of its pixels, row by row.
    """
    out = np.zeros((len(weights), 12, 2, 2), weights.dtype)
    for row in range(3):
        for column in range(3):
            # taps −1, 0, 1 lie in the cell before at 1, and in this one at 0 and 1
            cell_row, pixel_row = divmod(row + 1, 2)
            cell_column, pixel_column = divmod(column + 1, 2)
            first = 3 * (2 * pixel_row + pixel_column)
            out[:, first : first + 3, cell_row, cell_column] = weights[:, ::-1, row, column]
    return out


def _likeliest_places(graph: Any) -> None:
    """Sort the places by their better score and let the first ``MOST_PLACES`` out."""
    from onnx import helper, numpy_helper

    last = next(node for node in graph.node if LAST in node.output)
    last.output[list(last.output).index(LAST)] = "every-place"
    values = {
        "first-score": np.array([4], np.int64),
        "no-end": np.array([np.iinfo(np.int64).max], np.int64),
        "across": np.array([1], np.int64),
        "most": np.array([MOST_PLACES], np.int64),
        "stills": np.array([0], np.int64),
    }
    graph.initializer.extend(numpy_helper.from_array(v, k) for k, v in values.items())
    made = helper.make_node
    graph.node.extend(
        [
            made("Slice", ["every-place", "first-score", "no-end", "across"], ["scores"]),
            made("ReduceMax", ["scores"], ["better"], axes=[1], keepdims=0),
            made("Shape", ["better"], ["places"], start=1),
            made("Min", ["places", "most"], ["told"]),
            made("TopK", ["better", "told"], ["told-scores", "told-rows"], axis=1),
            made("Squeeze", ["told-rows", "stills"], ["told-places"]),
            made("Gather", ["every-place", "told-places"], [LAST], axis=2),
        ]
    )
    told = graph.output[0].type.tensor_type.shape.dim[2]
    told.Clear()
    told.dim_param = "told"
