"""A moment's stills by several cameras to one layout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

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
    views, given = [], {}
    refusals: list[RestmarkError] = []
    for upload in moment.uploads:
        if upload.camera not in held:
            missing[upload.camera] = unknown_camera(upload.camera, tuple(held), upload.table_id)
            continue
        record = held[upload.camera]
        given[upload.camera] = Given(
            still=upload.name, sha256=upload.sha256, calibration_id=record.id
        )
        try:
            view = view_of(
                read, upload.camera, upload.data, calibration_of(record),
                name=upload.name, previous=own.get(upload.camera), taught=taught,
            )  # fmt: skip
        except (StillError, CalibrationError) as refused:
            missing[upload.camera] = refused
            refusals.append(refused)
            continue
        views.append(view)
    if not views:
        raise [*refusals, *missing.values()][0]
    layout = join_views(views, away=missing, previous=previous)
    return as_kept(layout, given, still=moment.main.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A camera's still of a moment as the store keeps it."""

    still: str
    sha256: str
    calibration_id: int


def as_kept(layout: Layout, given: Mapping[str, Given], *, still: str) -> Layout:
    """The joined layout, called as its first still, whose parts name what they were read from.

    A camera whose still was refused names it too: a later calibration may read it.
    """
    parts = tuple(
        replace(
            part, still=own.still, sha256=own.sha256, calibration_id=own.calibration_id
        ) if (own := given.get(part.camera)) else part
        for part in layout.cameras
    )  # fmt: skip
    return replace(layout, cameras=parts, still=still)
