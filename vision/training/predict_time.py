"""How long ``predict`` of ultralytics takes on pictures that are there already.

``python -m vision.training.predict_time WEIGHTS PICTURES.npy`` prints median times over the
pictures of an array (N, H, W, 3), BGR, as JSON; the bench runs it beside its own times.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

WARM = 3


def predict_times(weights: Path, pictures: Path) -> list[dict[str, Any]]:
    """Medians over the pictures, ms by the clock and of the processor.

    First with as many threads as the library takes by itself, then with one a core.
    """
    import torch
    from ultralytics import YOLO

    model = YOLO(str(weights), task="detect")
    views = np.load(pictures)

    def predict(view: NDArray[np.uint8]) -> tuple[float, float]:
        started, cpu = time.perf_counter(), time.process_time()
        model.predict(view, imgsz=list(view.shape[:2]), device="cpu", verbose=False)
        return (time.perf_counter() - started) * 1e3, (time.process_time() - cpu) * 1e3

    out = []
    for cores in (0, processors()):
        if cores:
            torch.set_num_threads(cores)
        for view in views[:WARM]:
            predict(view)
        ms, cpu_ms = np.median([predict(view) for view in views], axis=0)
        out.append({"threads": torch.get_num_threads(), "ms": float(ms), "cpu_ms": float(cpu_ms)})
    return out


def processors() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def main(arguments: Sequence[str]) -> None:
    """Print the times."""
    weights, pictures = map(Path, arguments)
    print("\n" + json.dumps(predict_times(weights, pictures)))


if __name__ == "__main__":
    main(sys.argv[1:])
