"""What a worker does: some stills to layouts, by itself, with no store at hand."""

from __future__ import annotations

import json
import time
import zlib
from collections.abc import Mapping
from functools import lru_cache
from importlib.metadata import version
from typing import Any

import cv2

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from vision.name.taught import Taught
from vision.networks import Networks, fingerprint, loaded
from vision.read import Reader

from .errors import RereadError
from .stills import StillGoneError, fetched
from .values import BatchRead, Found, Job, Refused, StillJob


def packed(document: Mapping[str, Any]) -> bytes:
    """A document as it travels; the same document gives the same bytes."""
    return zlib.compress(json.dumps(document, sort_keys=True).encode(), level=6)


def read_batch(job: Job) -> BatchRead:
    """Every still of a job, each by itself.

    Raises:
        RereadError: this worker is another release, or reads with other networks.
    """
    mine = (fingerprint(), version("restmark"))
    if mine != (job.weights, job.software):
        raise RereadError(
            f"worker: has release {mine[1]} with networks {mine[0][:12]}…; allowed: release "
            f"{job.software} with networks {job.weights[:12]}…, as where the command runs. Install "
            "the same release there, with the same RESTMARK_WEIGHTS.",
            code="other-release",
        )
    found, refused = [], []
    for still in job.stills:
        try:
            found.append(_read(job, still))
        except StillGoneError as gone:
            refused.append(_refused(still, gone, lasting=False))
        except RereadError:
            raise
        except RestmarkError as refusal:
            refused.append(_refused(still, refusal, lasting=True))
    return BatchRead(found=tuple(found), refused=tuple(refused))


def _read(job: Job, still: StillJob) -> Found:
    data = fetched(job.source, still.sha256)
    started = time.perf_counter()
    layout = _reader(job.calibration, job.taught).read_still(
        data, name=still.name, settled=still.settled, afresh=True
    )
    took_ms = round((time.perf_counter() - started) * 1000, 1)
    return Found(
        still_id=still.id,
        layout=json.dumps(layout.to_dict()),
        comparable=layout.settled and not layout.obstructed,
        took_ms=took_ms,
    )


def _refused(still: StillJob, refusal: RestmarkError, *, lasting: bool) -> Refused:
    return Refused(still_id=still.id, code=refusal.code, detail=refusal.detail, lasting=lasting)


@lru_cache(maxsize=1)
def _networks() -> Networks:
    """One thread: as many processes as there are cores share the machine."""
    cv2.setNumThreads(1)
    return loaded(1)


@lru_cache(maxsize=1)
def _reader(calibration: bytes, taught: bytes | None) -> Reader:
    """Maps of the calibration read last; jobs come sorted by it."""
    return Reader(
        Calibration.from_dict(_document(calibration), path="calibration"),
        networks=_networks(),
        taught=None if taught is None else Taught.from_dict(_document(taught), path="set"),
    )


def _document(packed: bytes) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(zlib.decompress(packed))
    return document
