"""Trains the finder on cut views with ``ultralytics`` from scratch and exports it.

``python -m vision.training.nets.train_finder --set DIR --check DIR --out DIR --epochs 60``

With ``--start shipped`` (or a .pt file of an earlier training) it goes on from those weights, in
small steps.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from vision.find.detect_ultralytics import WEIGHTS_FILE
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS
from vision.still import decode_still

from .spare_work import spared
from .start_files import SHIPPED, StartError, shipped_file

RECIPE = Path(__file__).with_name("finder.yaml")
RATE, RATE_ON = 2e-3, 1e-4
"""Largest step of training from nothing, and of going on."""
CALIBRATION_VIEWS = 48
"""Views whose activations set the steps of the 8-bit network."""


def starting(given: str) -> Path:
    """The file to go on from.

    Raises:
        StartError: there is none.
    """
    path = shipped_file(WEIGHTS_FILE) if given == SHIPPED else Path(given)
    if path.suffix != ".pt" or not path.is_file():
        raise StartError(
            f"--start: got {given}; allowed: {SHIPPED}, or an existing .pt file of the finder. "
            "Give one of these; an .onnx file cannot be trained further."
        )
    return path


def write_data_file(train: Sequence[Path], check: Path, path: Path) -> Path:
    """The trainer's own description of where pictures lie."""
    folders = "".join(f"\n  - {folder.resolve() / 'images'}" for folder in train)
    path.write_text(
        f"train:{folders}\nval: {check.resolve() / 'images'}\nnames:\n  0: ball\n  1: thing\n",
        encoding="utf-8",
    )
    return path


def train(
    data: Path, out: Path, *, epochs: int, batch: int, device: str, hours: float | None = None,
    workers: int = 8, seed: int = 1, start: Path | None = None,
) -> Any:  # fmt: skip
    """Train from scratch or on from ``start``; nothing is fetched, nothing leaves the machine."""
    os.environ["YOLO_OFFLINE"] = "true"
    os.environ["YOLO_AUTOINSTALL"] = "false"
    from ultralytics import YOLO

    model = YOLO(str(RECIPE if start is None else start))
    steps, warming = (RATE, 2) if start is None else (RATE_ON, 0)
    model.train(
        data=str(data), epochs=epochs, time=hours, batch=batch, imgsz=VIEW_COLUMNS, rect=True,
        device=device, workers=workers, seed=seed, project=str(out.resolve()), name="finder",
        exist_ok=True, pretrained=start is not None, amp=False, plots=False, cache="ram",
        verbose=True, optimizer="AdamW", lr0=steps, lrf=0.02, warmup_epochs=warming,
        weight_decay=0.01, cos_lr=True, mosaic=0.0, mixup=0.0, scale=0.06, translate=0.03,
        degrees=1.5, fliplr=0.5, flipud=0.5, hsv_h=0.02, hsv_s=0.35, hsv_v=0.35, erasing=0.0,
        box=7.5, cls=0.7, dfl=1.0, patience=0,
    )  # fmt: skip
    return YOLO(str(out / "finder" / "weights" / "best.pt"))


def export(model: Any, folder: Path) -> Path:
    """Write ``finder.onnx``; it takes views of any size that 32 divides, so parts of one too."""
    made = model.export(
        format="onnx", imgsz=(VIEW_ROWS, VIEW_COLUMNS), simplify=False, opset=17, dynamic=True
    )
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / "finder.onnx"
    shutil.copyfile(made, target)
    return target


def to_input(view: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """View (448, 832, 3) BGR, uint8 → network input (1, 3, 448, 832) RGB, 0 … 1."""
    return np.ascontiguousarray(view[None, ..., ::-1].transpose(0, 3, 1, 2), np.float32) / 255


def quantised(model_path: Path, views: Sequence[Path], out: Path) -> Path:
    """The network with 8-bit convolutions and spared work; it takes bytes.

    Its steps are set by views of the training set.
    """
    from onnxruntime.quantization import (
        CalibrationDataReader,
        CalibrationMethod,
        QuantFormat,
        QuantType,
        quantize_static,
    )
    from onnxruntime.quantization.shape_inference import quant_pre_process

    class Views(CalibrationDataReader):
        """Feeds views one by one."""

        def __init__(self) -> None:
            paths = sorted(path for folder in views for path in folder.glob("*.png"))
            self.left = paths[:: max(1, len(paths) // CALIBRATION_VIEWS)]

        def get_next(self) -> dict[str, Any] | None:
            if not self.left:
                return None
            path = self.left.pop()
            return {"images": to_input(decode_still(path.read_bytes(), name=path.name))}

    shaped = out.with_suffix(".shaped.onnx")
    quant_pre_process(str(model_path), str(shaped), skip_symbolic_shape=True)
    quantize_static(
        str(shaped), str(out), Views(), quant_format=QuantFormat.QDQ, per_channel=True,
        activation_type=QuantType.QUInt8, weight_type=QuantType.QInt8,
        calibrate_method=CalibrationMethod.MinMax,
        nodes_to_exclude=last_nodes(shaped),
    )  # fmt: skip
    shaped.unlink()
    return spared(out, out)


def last_nodes(path: Path) -> list[str]:
    """Nodes that are not rounded: the boxes' last layer, and the head after its branches."""
    import onnx

    graph = onnx.load(str(path)).graph
    return [
        node.name
        for node in graph.node
        if (node.op_type != "Conv" and "/model.16/" in node.name and "/cv" not in node.name)
        or (node.op_type == "Conv" and "/cv2.0.2/" in node.name)
    ]


def main(arguments: list[str] | None = None) -> None:
    """Train, check and export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", type=Path, nargs="+", required=True, dest="folders")
    parser.add_argument("--check", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--epochs", type=int, default=60)
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--hours", type=float, default=None, help="stop the training by then")
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--device", default="0")
    parser.add_argument(
        "--start", help="go on from these weights: shipped, or a .pt file of an earlier training"
    )
    given = parser.parse_args(arguments)
    start = None if given.start is None else starting(given.start)
    given.out.mkdir(parents=True, exist_ok=True)
    data = write_data_file(given.folders, given.check, given.out / "finder-data.yaml")
    model = train(
        data, given.out, epochs=given.epochs, batch=given.batch, device=given.device,
        hours=given.hours, workers=given.workers, start=start,
    )  # fmt: skip
    figures = model.val(
        data=str(data), imgsz=VIEW_COLUMNS, rect=True, device=given.device, plots=False,
        verbose=False,
    )  # fmt: skip
    exported = export(model, given.out)
    quantised(
        exported, [folder / "images" for folder in given.folders], given.out / "finder-int8.onnx"
    )
    result = {key: float(value) for key, value in figures.results_dict.items()}
    (given.out / "finder.json").write_text(json.dumps(result, indent=1), encoding="utf-8")
    print(json.dumps(result))


if __name__ == "__main__":
    main()
