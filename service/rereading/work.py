"""What a worker does: some stills to layouts, by itself, with no store at hand."""

from __future__ import annotations

import json
import time
import zlib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib.metadata import version
from typing import Any

import cv2

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.desk.arriving.joining import Given, as_kept
from service.desk.refusals import no_still
from vision.layout import Layout
from vision.name.taught import Taught
from vision.networks import Networks, fingerprint, loaded
from vision.read_together import JointReader

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
    parts = still.parts or (still,)
    stills = [fetched(job.source, part.sha256) for part in parts]
    reader = _reader(job.calibrations, job.taught)
    started = time.perf_counter()
    if still.parts:
        layout = _joined(reader, still, stills)
    else:
        (alone,) = reader.readers.values()
        layout = alone.read_still(stills[0], name=still.name, settled=still.settled, afresh=True)
    took_ms = round((time.perf_counter() - started) * 1000, 1)
    return Found(
        still_id=still.id,
        layout=json.dumps(layout.to_dict()),
        comparable=layout.settled and not layout.obstructed,
        took_ms=took_ms,
    )


def _joined(reader: JointReader, still: StillJob, stills: Sequence[bytes]) -> Layout:
    layout = reader.read(
        {part.camera: data for part, data in zip(still.parts, stills, strict=True)},
        names={part.camera: part.name for part in still.parts},
        away={camera: no_still(camera) for camera in still.away},
        settled=still.settled,
        afresh=True,
    )
    given = {
        part.camera: Given(
            still=part.name, sha256=part.sha256, calibration_id=part.calibration_id
        )
        for part in still.parts
    }  # fmt: skip
    return as_kept(layout, given, still=still.name)


def _refused(still: StillJob, refusal: RestmarkError, *, lasting: bool) -> Refused:
    return Refused(still_id=still.id, code=refusal.code, detail=refusal.detail, lasting=lasting)


@lru_cache(maxsize=1)
def _networks() -> Networks:
    """One thread: as many processes as there are cores share the machine."""
    cv2.setNumThreads(1)
    return loaded(1)


@lru_cache(maxsize=1)
def _reader(calibrations: tuple[tuple[str, bytes], ...], taught: bytes | None) -> JointReader:
    """Maps of the calibrations read with last; jobs come sorted by them."""
    return JointReader(
        {
            camera: Calibration.from_dict(_document(document), path="calibration")
            for camera, document in calibrations
        },
        networks=_networks(),
        taught=None if taught is None else Taught.from_dict(_document(taught), path="set"),
    )


def _document(packed: bytes) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(zlib.decompress(packed))
    return document
