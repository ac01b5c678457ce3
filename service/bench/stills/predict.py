"""Time of ``ultralytics``' ``predict`` with the finder's weights on the same top views.

Run in a process of its own: the library takes whatever threads it likes.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import FileFormatError
from vision.find.finder_view import FinderView
from vision.still import decode_still

from .readings import BenchStill

LIBRARY = "ultralytics"
SHIPPED = Path(str(files("vision"))) / "weights" / "finder.pt"


def predict_figures(
    stills: Sequence[BenchStill], weights: Path | None = None
) -> dict[str, Any] | None:
    """Medians over the stills, by the clock and of the processor.

    ``weights``: default is the file shipped beside the networks. None where the library or that
    file is missing. Raises ``FileFormatError`` where given weights are no file that it can run.
    """
    if find_spec(LIBRARY) is None or not (weights or SHIPPED.is_file()):
        return None
    weights = weights or SHIPPED
    with TemporaryDirectory() as folder:
        file = Path(folder) / "views.npy"
        np.save(file, np.stack([finder_view(still) for still in stills]))
        done = subprocess.run(
            [sys.executable, "-m", "vision.training.predict_time", str(weights), str(file)],
            capture_output=True, text=True,
        )  # fmt: skip
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise FileFormatError(
            f"{weights}: {LIBRARY} cannot predict with it ({last}); allowed: the finder's weights "
            "as training leaves them. Give that file, or none."
        )
    return {
        "weights": weights.name,
        "runs": len(stills),
        "by_threads": json.loads(done.stdout.strip().splitlines()[-1]),
    }


def finder_view(still: BenchStill) -> NDArray[np.uint8]:
    """The finder's top view of a still, by its true calibration."""
    picture = decode_still(still.path.read_bytes(), name=still.path.name)
    return FinderView.of(still.truth.camera, still.truth.table).warp(picture)
