"""The finder run by ``ultralytics``: for those who have a graphics card.

A second implementation of ``vision.find.detect.Finder``. ``Reader(calibration,
finder=UltralyticsFinder.load("finder.pt", device="0"))`` reads with it; everything after the
boxes is the same. Weights of the ``.pt`` kind can run code when they are opened: open only your
own, or those that are shipped.
"""

from __future__ import annotations

import hashlib
import importlib
import os
import threading
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import RestmarkError
from vision.networks import WeightsError

from .detect import LEAST_SCORE, LEAST_THING_SCORE

WEIGHTS_FILE = "finder.pt"
KINDS = (".pt", ".onnx")
BALL, THING = 0, 1
"""Classes of the finder's network."""
OVERLAP = 0.7
"""Boxes that share more are one; touching balls share a tenth at most."""
MOST_BOXES = 300


_ONE_AT_A_TIME = threading.Lock()
"""The library's models are not made to be asked by several threads."""


class BackendError(RestmarkError):
    """The extra that trains and runs the network is not installed."""

    code = "no-backend"


@dataclass(frozen=True, slots=True, kw_only=True)
class UltralyticsFinder:
    """A finder's network as ``ultralytics`` runs it on one device."""

    model: Any
    """What ``ultralytics.YOLO`` made."""
    device: str
    fingerprint: str = ""
    """Of the weights: readings are kept with it."""

    @classmethod
    def load(cls, weights: str | Path | None = None, *, device: str = "cpu") -> UltralyticsFinder:
        """The network from a .pt or .onnx file, the shipped one by default.

        ``device`` is as ``ultralytics`` takes it: ``cpu``, or a card's number such as ``0``.
        Raises ``WeightsError`` for a path that is no such file, ``BackendError`` without the
        extra ``train``.
        """
        path = Path(weights) if weights is not None else _shipped()
        if path.suffix not in KINDS or not path.is_file():
            raise WeightsError(
                f"weights: got {path}; allowed: an existing file that ends in "
                f"{' or '.join(KINDS)}. Give the finder's weights, or none for the shipped ones."
            )
        return cls(
            model=_library().YOLO(str(path), task="detect"),
            device=device,
            fingerprint=hashlib.sha256(path.read_bytes()).hexdigest(),
        )

    def boxes(self, view: NDArray[np.uint8]) -> NDArray[np.float32]:
        """View or a part (H, W, 3) BGR → x, y, width, height in px, both scores, (N, 6).

        Sides are multiples of 32, so the picture is taken as it is.
        """
        with _ONE_AT_A_TIME:
            said = self.model.predict(
                view, imgsz=view.shape[:2], conf=min(LEAST_SCORE, LEAST_THING_SCORE),
                iou=OVERLAP, max_det=MOST_BOXES, device=self.device, verbose=False, save=False,
            )  # fmt: skip
        found = said[0].boxes
        corners = _plain(found.xyxy).reshape(-1, 4)
        score, kind = _plain(found.conf), _plain(found.cls).astype(int)
        out = np.zeros((len(corners), 6), np.float32)
        out[:, :2] = (corners[:, :2] + corners[:, 2:]) / 2
        out[:, 2:4] = corners[:, 2:] - corners[:, :2]
        out[:, 4] = np.where(kind == BALL, score, 0.0)
        out[:, 5] = np.where(kind == THING, score, 0.0)
        return out


@lru_cache(maxsize=1)
def finder_here(weights: Path | None = None) -> UltralyticsFinder:
    """The finder on this machine's first graphics card where there is one, else on its processor.

    Raises:
        WeightsError, BackendError: as ``UltralyticsFinder.load``.
    """
    found = UltralyticsFinder.load(weights)
    cards = importlib.import_module("torch").cuda.is_available()
    return replace(found, device="0") if cards else found


def _plain(values: Any) -> NDArray[np.float32]:
    """A tensor, on whatever device, as an array."""
    return np.asarray(values.cpu().numpy(), dtype=np.float32)


def _shipped() -> Path:
    return Path(str(files("vision") / "weights" / WEIGHTS_FILE))


def _library() -> Any:
    # reading must neither fetch anything nor install anything by itself
    os.environ.setdefault("YOLO_OFFLINE", "true")
    os.environ.setdefault("YOLO_AUTOINSTALL", "false")
    try:
        return importlib.import_module("ultralytics")
    except ImportError as wrong:
        raise BackendError(
            f"finder: ultralytics cannot be imported ({wrong}); allowed: an environment with the "
            "extra train. Run pip install 'restmark[train]', or read with the shipped networks."
        ) from wrong
