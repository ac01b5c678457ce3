"""A moment's stills by several cameras to one layout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from calibration.errors import CalibrationError, RestmarkError
from service.desk.readers import ReadStill, view_of
from service.desk.refusals import unknown_camera
from service.desk.stored import calibration_of
from service.store import CalibrationRecord
from vision.join.together import join_views
from vision.layout import Layout
from vision.name.taught import Taught
from vision.still import StillError

from .upload import Moment


def joined(
    read: ReadStill,
    moment: Moment,
    held: Mapping[str, CalibrationRecord],
    *,
    previous: Layout | None,
    taught: Taught | None,
) -> Layout:
    """The layout of what all cameras see; one that cannot be read is left out and said.

    Raises:
        StillError, CalibrationError: none can be read; that of the first.
        JoinError: they do not fit together.
    """
    missing: dict[str, RestmarkError] = dict(moment.away)
    own = {part.camera: part.layout for part in previous.cameras} if previous else {}
    views, hashes = [], {}
    refusals: list[RestmarkError] = []
    for upload in moment.uploads:
        if upload.camera not in held:
            missing[upload.camera] = unknown_camera(upload.camera, tuple(held), upload.table_id)
            continue
        made = calibration_of(held[upload.camera])
        try:
            view = view_of(
                read, upload.camera, upload.data, made,
                name=upload.name, previous=own.get(upload.camera), taught=taught,
            )  # fmt: skip
        except (StillError, CalibrationError) as refused:
            missing[upload.camera] = refused
            refusals.append(refused)
            continue
        views.append(view)
        hashes[upload.camera] = upload.sha256
    if not views:
        raise [*refusals, *missing.values()][0]
    layout = join_views(views, away=missing, previous=previous)
    parts = tuple(replace(part, sha256=hashes.get(part.camera, "")) for part in layout.cameras)
    return replace(layout, cameras=parts, still=moment.main.name)
