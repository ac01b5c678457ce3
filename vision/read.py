"""A settled still to a layout: every step in the order in which the data meets it."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from calibration.notices import Notice
from calibration.table import BALL_DIAMETER_MM
from calibration.watch.drift import Drift, DriftWatch
from vision.bed.blind import blind_mm, still_blind
from vision.bed.hidden import hidden_mm
from vision.bed.obstruction import hiding, over_bed
from vision.bed.outside import outside_mm
from vision.bed.patches import Patch
from vision.bed.reference import Reference
from vision.find.detect import Finder, NetworkFinder, one_a_place
from vision.find.finder_view import FinderView
from vision.find.search import Search
from vision.name.colour import colour_lack, doubted
from vision.name.identify import Name, alike, name_balls
from vision.name.taught import Taught
from vision.name.unusual import is_taught, notice_of, unusual
from vision.place.apart import keep_apart
from vision.place.centres import Placed, place_balls

from .header import is_turned
from .layout import BALL_IDS, Ball, Layout, as_cov
from .networks import Networks, shipped
from .noticed import doubts, hiding_notices, poor
from .still import Picture, StillError, check_light, check_size, decode_still

NEAR_PX = 1.0
"""A camera corrected by less needs no new view: the finder aims no finer."""
BALL_ODDS = 0.0
"""Log odds from which a candidate is a ball."""
OVERLAP = 0.88
"""Placed balls nearer than this, in diameters, are one."""

_DRIFT_CODES = {"moved": "moved", "cannot tell": "drift-unsure", "unchecked": "drift-unchecked"}


class Reader:
    """Reads stills of one calibration; keeps the maps that only depend on it, and the last still.

    One a table: its stills are a sequence. A still that differs little from the last is searched
    only where it differs; every ball is placed anew. Threads may share a reader: stills are read
    one at a time.

    ``last_timings_ms`` holds the time of each step of the last still, ``last_unpushed_mm`` where
    its balls were seen before those that overlap were moved apart, ``last_calibration`` what it was
    read with, as the rails corrected it. ``taught`` is what is known
    of the ball set and may be set anew between stills. Another ``finder`` can stand in for the
    shipped network. Raises ``WeightsError`` where the shipped networks are missing or damaged.
    """

    def __init__(
        self,
        calibration: Calibration,
        finder: Finder | None = None,
        networks: Networks | None = None,
        taught: Taught | None = None,
    ) -> None:
        self.calibration = calibration
        self.taught = taught
        self.networks = networks or shipped()
        self.view = FinderView.of(calibration.camera, calibration.table)
        self.reference = Reference.of(calibration, self.view)
        self.blind = () if self.reference is None else blind_mm(self.reference)
        self.outside = outside_mm(calibration)
        self.watch = DriftWatch(calibration)
        self.search = Search(
            finder or NetworkFinder(networks=self.networks), self.view, calibration.table
        )
        self._one_at_a_time = threading.RLock()
        self.last_timings_ms: dict[str, float] = {}
        self.last_unpushed_mm: dict[str, tuple[float, float]] = {}
        self.last_calibration = calibration

    def read_still(
        self,
        data: bytes,
        *,
        name: str = "",
        previous: Layout | None = None,
        settled: bool = True,
        afresh: bool = False,
    ) -> Layout:
        """Bytes of a JPEG, PNG or HEIC file → layout.

        ``previous`` is the layout before, for the names of balls that have not moved. A still
        cannot show whether balls are rolling: whoever took it says so with ``settled``. Read
        ``afresh`` it has no regard to the stills before, whoever reads beside.

        A camera that looks straight down does not know which way is up: where the orientation
        that it noted does not fit the calibration, the picture is taken as it was stored.

        Raises:
            StillError: bytes that are no whole picture, or one of another size than the
                calibration's; code "too-dark": no light on the table.
            CalibrationError: code "moved": camera or table moved farther than can be corrected,
                or the rails cannot be found again.
        """
        rest = (name, previous, settled, afresh)
        try:
            return self._read_bytes(data, *rest, as_stored=False)
        except (StillError, CalibrationError) as refused:
            if not is_turned(data):
                raise
            try:
                return self._read_bytes(data, *rest, as_stored=True)
            except (StillError, CalibrationError):
                raise refused from None

    def _read_bytes(
        self, data: bytes, name: str, previous: Layout | None, settled: bool, afresh: bool,
        *, as_stored: bool,
    ) -> Layout:  # fmt: skip
        started = time.perf_counter()
        size_px = self.calibration.camera.image_size_px
        picture = decode_still(data, name=name, size_px=size_px, as_stored=as_stored)
        decode_ms = (time.perf_counter() - started) * 1e3
        with self._one_at_a_time:
            layout = self.read_image(
                picture, name=name, previous=previous, settled=settled, afresh=afresh
            )
            self.last_timings_ms = {"decode": decode_ms, **self.last_timings_ms}
        return layout

    def read_image(
        self,
        picture: Picture,
        *,
        name: str = "",
        previous: Layout | None = None,
        settled: bool = True,
        afresh: bool = False,
    ) -> Layout:
        """Picture (H, W, 3) BGR, uint8, of the calibration's size → layout.

        ``previous``, ``settled`` and ``afresh`` as in ``read_still``.

        Raises:
            StillError: a picture of another size.
            CalibrationError: code "moved": camera or table moved farther than can be corrected,
                or the rails cannot be found again.
        """
        check_size(picture, self.calibration.camera.image_size_px, name=name)
        with self._one_at_a_time:
            if afresh:
                self.forget()
            self.last_timings_ms = {}
            with self._step("view"):
                seen = self.view.warp(picture)
                check_light(seen, name=name or "still")
            with self._step("drift"):
                drift = self.watch.check(picture, name=name or "still")
            return replace(self._read(picture, seen, name, previous, drift), settled=settled)

    def forget(self) -> None:
        """The next still is read as if it were the first."""
        with self._one_at_a_time:
            self.search.forget()

    def _read(
        self, picture: Picture, seen: Picture, name: str, previous: Layout | None, drift: Drift
    ) -> Layout:
        camera, table = drift.calibration.camera, self.calibration.table
        self.last_calibration = drift.calibration
        steady = drift.corrected_px < NEAR_PX
        view = self.view
        if not steady:
            with self._step("view again"):
                view = FinderView.of(camera, table)
                seen = view.warp(picture)
        with self._step("find"):
            search = self.search
            found = search.again(seen, camera) if steady else search.afresh(seen, view)
        with self._step("place"):
            placed = chosen(place_balls(picture, camera, found.centre_mm, self.networks))
            if not search.holds(found, placed):
                found = search.afresh(seen, view)
                placed = chosen(place_balls(picture, camera, found.centre_mm, self.networks))
            centres = keep_apart(placed.centre_mm, placed.cov_mm2, table)
        with self._step("identify"):
            hint = self.taught.hint(placed.embedding) if self.taught and len(centres) else None
            names = name_balls(placed.names, centres, previous=previous, hint=hint)
            lack = colour_lack(picture) if names else None
            names = names if lack is None else doubted(names)
        with self._step("compare"):
            over = over_bed(found.things, self._patches(seen, centres), table.surface_mm)
            hidden = hidden_mm(hiding(over), view, table, centres)
        self.last_unpushed_mm = {
            name.id: (float(x), float(y))
            for name, (x, y) in zip(names, placed.centre_mm, strict=True)
        }
        balls = _balls(drift.calibration, centres, placed.cov_mm2, names)
        odd = alike(placed.names, centres, hint=hint, names=names)
        unsure = doubts(balls) if lack is None else [lack]
        seen_poorly = poor(names, centres, placed.cov_mm2)
        moved = (
            [Notice(code=_DRIFT_CODES[drift.state], text=drift.warning)] if drift.warning else []
        )
        if steady and not over.living and not over.dead:
            search.keep(placed, camera)
        else:
            search.forget()
        return _with_set(
            Layout(
                still=name,
                surface_mm=table.surface_mm,
                balls=balls,
                obstructed=bool(over.living),
                hidden_mm=(*hidden, *self.outside, *still_blind(self.blind, centres)),
                notices=(
                    *moved,
                    *odd,
                    *unsure,
                    *seen_poorly,
                    *over.living,
                    *hiding_notices(hidden),
                ),
            ),
            self.taught,
        )

    def _patches(self, seen: NDArray[np.uint8], centres_mm: FloatArray) -> tuple[Patch, ...] | None:
        if self.reference is None:
            return None
        return self.reference.unexplained(self.search.cells(seen), centres_mm)

    @contextmanager
    def _step(self, step: str) -> Iterator[None]:
        started = time.perf_counter()
        yield
        self.last_timings_ms[step] = (time.perf_counter() - started) * 1e3


def _with_set(layout: Layout, taught: Taught | None) -> Layout:
    """The layout, and what it says of a ball set that was not taught yet."""
    if taught is not None and is_taught(layout, taught.ids):
        return layout
    found = unusual([layout])
    if found is None:
        return layout
    return replace(layout, unlike=found.unlike, notices=(*layout.notices, notice_of(found, layout)))


def _balls(
    calibration: Calibration, centres_mm: FloatArray, cov_mm2: FloatArray, names: tuple[Name, ...]
) -> tuple[Ball, ...]:
    if not names:
        return ()
    whole = calibration.error_factor**2 * (cov_mm2 + calibration.own_covariance_mm2(centres_mm))
    balls = [
        Ball(
            id=name.id,
            x_mm=float(x),
            y_mm=float(y),
            cov_mm2=as_cov(c),
            confidence=name.confidence,
            doubtful=name.doubtful,
            runners_up=name.runners_up,
            look=name.look,
            said=name.said,
        )
        for name, (x, y), c in zip(names, centres_mm, whole, strict=True)
    ]
    return tuple(sorted(balls, key=lambda ball: -1 if ball.id == "cue" else int(ball.id)))


def chosen(placed: Placed) -> Placed:
    """The candidates that are balls: sure enough, one a place, at most sixteen, surest first."""
    order = np.argsort(-placed.ball, kind="stable")
    order = order[placed.ball[order] > BALL_ODDS]
    sure = placed.taken(order)
    kept = one_a_place(sure.centre_mm, OVERLAP * BALL_DIAMETER_MM)[: len(BALL_IDS)]
    return sure.taken(kept)


@lru_cache(maxsize=4)
def reader_of(calibration: Calibration, taught: Taught | None = None) -> Reader:
    """The kept reader of a calibration and a taught ball set, for its maps."""
    return Reader(calibration, taught=taught)


def read_still(
    data: bytes,
    calibration: Calibration,
    *,
    name: str = "",
    previous: Layout | None = None,
    taught: Taught | None = None,
    settled: bool = True,
) -> Layout:
    """Bytes of a still → layout with every ball's place, error and name.

    Reads afresh: what was read before changes nothing; ``Reader`` is for sequences. ``previous``
    is the layout before: balls that have not moved keep the names that were said, and what they
    looked like then counts with this look. ``taught`` is what is known of this very ball set.
    ``settled`` is what whoever took the still says: balls that roll cannot be told from one
    picture.

    Raises:
        StillError: bytes that are no whole picture of the calibration's size.
        CalibrationError: code "moved": camera or table moved farther than can be corrected
            since the calibration, or the rails cannot be found again.
        WeightsError: the shipped networks are missing or damaged.
    """
    return reader_of(calibration, taught).read_still(
        data, name=name, previous=previous, settled=settled, afresh=True
    )


def read_image(
    picture: Picture,
    calibration: Calibration,
    *,
    name: str = "",
    previous: Layout | None = None,
    taught: Taught | None = None,
    settled: bool = True,
) -> Layout:
    """Like ``read_still`` for a picture (H, W, 3) BGR, uint8, that is decoded already.

    Raises:
        StillError: a picture of another size than the calibration's.
        CalibrationError: code "moved": camera or table moved farther than can be corrected
            since the calibration, or the rails cannot be found again.
        WeightsError: the shipped networks are missing or damaged.
    """
    return reader_of(calibration, taught).read_image(
        picture, name=name, previous=previous, settled=settled, afresh=True
    )
