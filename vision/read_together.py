"""Stills of one moment by several cameras to one layout: each read by itself, then joined."""

from __future__ import annotations

from collections.abc import Mapping

from calibration.errors import CalibrationError, RestmarkError
from calibration.kept.calibration import Calibration
from vision.find.detect import Finder
from vision.join.errors import JoinError
from vision.join.together import join_views
from vision.join.view import View, check_same_table
from vision.name.taught import Taught

from .layout import Layout
from .networks import Networks
from .read import Reader
from .still import StillError


class JointReader:
    """Reads moments of one table by several cameras; keeps each one's reader.

    ``taught`` is what is known of the ball set, and may be set anew between moments.

    Raises:
        JoinError: calibrations of different tables.
    """

    def __init__(
        self,
        calibrations: Mapping[str, Calibration],
        finder: Finder | None = None,
        networks: Networks | None = None,
        taught: Taught | None = None,
    ) -> None:
        check_same_table(calibrations)
        self.taught = taught
        self.readers = {
            name: Reader(made, finder=finder, networks=networks, taught=taught)
            for name, made in calibrations.items()
        }

    def read(
        self,
        stills: Mapping[str, bytes],
        *,
        away: Mapping[str, RestmarkError] | None = None,
        names: Mapping[str, str] | None = None,
        previous: Layout | None = None,
        settled: bool = True,
        afresh: bool = False,
    ) -> Layout:
        """Bytes of each camera's still → joined layout; ``names`` are the stills' names.

        A camera whose still cannot be read, or that moved too far, is left out and said, like
        those that are ``away`` anyway. Of the joined layout before, each camera is told its own.

        Raises:
            StillError, CalibrationError: no camera's still can be read; that of the first.
            JoinError: the stills are of different moments, or of no camera that is known.
        """
        missing: dict[str, RestmarkError] = dict(away or {})
        own = {part.camera: part.layout for part in previous.cameras} if previous else {}
        views = []
        for name, data in stills.items():
            reader = self._reader(name)
            reader.taught = self.taught
            called = (names or {}).get(name, name)
            try:
                layout = reader.read_still(
                    data, name=called, previous=own.get(name), settled=settled, afresh=afresh
                )
            except (StillError, CalibrationError) as refused:
                missing[name] = refused
                continue
            views.append(View(name, layout, reader.calibration, corrected=reader.last_calibration))
        if not views and missing:
            raise next(iter(missing.values()))
        return join_views(views, away=missing, previous=previous)

    def _reader(self, name: str) -> Reader:
        if name not in self.readers:
            raise JoinError(
                f"camera: got {name!r}; allowed: {', '.join(self.readers)}. Calibrate that "
                "camera first.",
                code="unknown-camera",
            )
        return self.readers[name]
