"""How long ``predict`` of ultralytics takes on pictures that are there already.

``python -m vision.training.predict_time WEIGHTS PICTURES.npy`` prints JSON with a time for every
picture of an array (N, H, W, 3), BGR; the bench runs it beside its own times.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

WARM = 3


def predict_times(weights: Path, pictures: Path) -> dict[str, Any]:
    """Time by the clock and of the processor for every picture, ms, on the processor."""
    import torch
    from ultralytics import YOLO

    model = YOLO(str(weights), task="detect")
    views = np.load(pictures)
    ms, cpu_ms = [], []
    for view in (*views[:WARM], *views):
        started, cpu = time.perf_counter(), time.process_time()
        model.predict(view, imgsz=list(view.shape[:2]), device="cpu", verbose=False)
        ms.append((time.perf_counter() - started) * 1e3)
        cpu_ms.append((time.process_time() - cpu) * 1e3)
    warm = min(WARM, len(views))
    return {"threads": torch.get_num_threads(), "ms": ms[warm:], "cpu_ms": cpu_ms[warm:]}


def main(arguments: Sequence[str]) -> None:
    """Print the times."""
    weights, pictures = map(Path, arguments)
    print("\n" + json.dumps(predict_times(weights, pictures)))


if __name__ == "__main__":
    main(sys.argv[1:])
