"""The shipped networks: loaded once, run on the processor.

``finder`` sees the top view and says where balls and things over the bed are; ``crops`` sees each
candidate along its own line of sight and says where its centre is, how surely, whether it is a
ball at all, and its name beside the others. How they were made stands in ``weights/``.

Networks trained further on stills of one's own take their place where the environment variable
``RESTMARK_WEIGHTS`` names the folder that ``vision.training.nets.ship`` wrote.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import onnxruntime
from numpy.typing import NDArray

from calibration.errors import RestmarkError

Float32 = NDArray[np.float32]
FINDER_FILE, CROPS_FILE = "finder.onnx", "crops.onnx"
OWN_WEIGHTS = "RESTMARK_WEIGHTS"
"""Environment variable: folder of networks to read with in place of the shipped ones."""
MOST_THREADS = 4
"""More do not pay for networks this small."""


class WeightsError(RestmarkError):
    """Weights that are missing or not this release's."""

    code = "bad-weights"


@dataclass(frozen=True, slots=True, kw_only=True)
class CropOutputs:
    """What the crop network says of K crops of one still."""

    offset_mm: Float32
    """Ball centre in the crop's plane, (K, 2)."""
    precision: Float32
    """Upper Cholesky factor U of the offsets' precision UᵀU, (K, 2, 2), per mm."""
    ball: Float32
    """Log odds that a ball lies there, (K,)."""
    names: Float32
    """Log probabilities of the sixteen names, (K, 16)."""
    embedding: Float32
    """What the names were judged by, (K, E)."""


class Networks:
    """Both networks, ready to run."""

    def __init__(self, finder: Any, crops: Any) -> None:
        self._finder = finder
        self._crops = crops

    def find(self, view: NDArray[np.uint8]) -> Float32:
        """Top view (H, W, 3) BGR → rows of x, y, width, height in pixels and two scores, (N, 6).

        Scores are of a ball and of a thing over the bed, 0 … 1; the 300 likeliest places are told.
        """
        out = self._finder.run(None, {"images": cells_of_four(view)[None]})[0]
        return np.asarray(out[0].T, dtype=np.float32)

    def judge(self, crops: NDArray[np.uint8]) -> CropOutputs:
        """Crops (K, 56, 56, 3) BGR of one still → what is said of each."""
        seen = np.ascontiguousarray(crops.transpose(0, 3, 1, 2), dtype=np.float32)
        seen *= np.float32(1 / 255)
        place, ball, logits, embedding = self._crops.run(None, {"crops": seen})
        precision = np.zeros((len(place), 2, 2), np.float32)
        precision[:, 0, 0], precision[:, 1, 1] = np.exp(place[:, 2:4]).T
        precision[:, 0, 1] = place[:, 4]
        top = logits.max(axis=1, keepdims=True)
        names = logits - top - np.log(np.exp(logits - top).sum(axis=1, keepdims=True))
        return CropOutputs(
            offset_mm=place[:, :2], precision=precision, ball=ball, names=names,
            embedding=embedding,
        )  # fmt: skip


def cells_of_four(view: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """View (H, W, 3) of even sides → every two by two pixels, row by row, (H/2, W/2, 12)."""
    rows, columns = view.shape[0] // 2, view.shape[1] // 2
    # a pair of pixels is three words of two bytes: words are moved quicker than bytes
    lines = np.ascontiguousarray(view).reshape(2 * rows, 6 * columns)
    pairs = lines.view(np.uint16).reshape(2 * rows, columns, 3)
    words = np.empty((rows, columns, 6), np.uint16)
    cv2.mixChannels([pairs[0::2], pairs[1::2]], [words], [k for k in range(6) for _ in range(2)])
    return words.view(np.uint8)


@lru_cache(maxsize=1)
def shipped() -> Networks:
    """The networks of this release, or one's own in their place."""
    return loaded(min(_processors(), MOST_THREADS))


def loaded(threads: int) -> Networks:
    """The same networks on so many threads; one where many processes share the machine."""
    return Networks(_session(FINDER_FILE, threads), _session(CROPS_FILE, threads))


@lru_cache(maxsize=1)
def crops_fingerprint() -> str:
    """Which crop network reads: embeddings of two networks cannot be compared."""
    return hashlib.sha256(_weights(CROPS_FILE)).hexdigest()[:16]


@lru_cache(maxsize=1)
def fingerprint() -> str:
    """Which networks read, both: a reading is kept with it."""
    whole = hashlib.sha256(_weights(FINDER_FILE))
    whole.update(_weights(CROPS_FILE))
    return whole.hexdigest()


def _weights(name: str) -> bytes:
    own = os.environ.get(OWN_WEIGHTS)
    if own:
        path = Path(own) / name
        if not path.is_file():
            raise WeightsError(
                f"{OWN_WEIGHTS}: got {own}, where there is no {name}; allowed: a folder that "
                "`python -m vision.training.nets.ship` wrote. Name one, or none for the shipped "
                "networks."
            )
        return path.read_bytes()
    source = files("vision") / "weights" / name
    if not source.is_file():
        raise WeightsError(
            f"vision/weights/{name}: missing; allowed: the file that this release ships. Install "
            "the package again."
        )
    return source.read_bytes()


def _session(name: str, threads: int) -> Any:
    settings = onnxruntime.SessionOptions()
    settings.intra_op_num_threads = threads
    settings.inter_op_num_threads = 1
    settings.log_severity_level = 3
    # threads that spin for the next run would take the cores from the other network
    settings.add_session_config_entry("session.intra_op.allow_spinning", "0")
    weights = _weights(name)
    try:
        return onnxruntime.InferenceSession(weights, settings, providers=["CPUExecutionProvider"])
    except Exception as wrong:  # the library's errors have no common kind of their own
        raise WeightsError(
            f"{os.environ.get(OWN_WEIGHTS) or 'vision/weights'}/{name}: no network that can run "
            f"({str(wrong).splitlines()[0]}); allowed: a file that this release ships or "
            "`python -m vision.training.nets.ship` wrote. Put that file there."
        ) from None


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)
