"""A settled still to a layout: every step in the order in which the data meets it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calibration.drift import Drift, DriftWatch
from calibration.files import Calibration

from .apart import keep_apart
from .choose import choose
from .cloth import to_tone
from .detect import CandidateFinder, EdgeVotes
from .evidence import gather
from .identify import Name, name_balls
from .layout import Ball, Layout
from .look import lamp_white, looks, sample_discs
from .obstruction import find_obstructions
from .refine import FINE, FINEST, Fit, Scene, fit
from .still import Picture, check_size, decode_still
from .topview import TopView

FloatArray = NDArray[np.float64]
GUESSED_LIGHT = 0.35
"""Certainty of names where no ball shows white."""
NEAR_PX = 1.0
"""Move of the camera that finding does not mind; the fit goes by the camera itself."""
HALF_HIDDEN = 0.7
"""Share of the outline under which a ball is called partly hidden."""


class Reader:
    """Reads stills of one calibration; keeps the maps that only depend on it.

    ``last_timings_ms`` holds the time of each step of the last still. Another ``finder`` can
    stand in for the edge votes.
    """

    def __init__(self, calibration: Calibration, finder: CandidateFinder | None = None) -> None:
        self.calibration = calibration
        self.view = TopView.of(calibration.camera, calibration.table)
        self.watch = DriftWatch(calibration)
        self.finder = finder or EdgeVotes.of(calibration.camera, self.view)
        self.last_timings_ms: dict[str, float] = {}

    def read_still(self, data: bytes, *, name: str = "", previous: Layout | None = None) -> Layout:
        """Bytes of a JPEG or PNG file → layout; ``StillError`` where it is no such file."""
        started = time.perf_counter()
        picture = decode_still(data, name=name)
        decode_ms = (time.perf_counter() - started) * 1e3
        layout = self.read_image(picture, name=name, previous=previous)
        self.last_timings_ms = {"decode": decode_ms, **self.last_timings_ms}
        return layout

    def read_image(
        self, picture: Picture, *, name: str = "", previous: Layout | None = None
    ) -> Layout:
        """Picture (H, W, 3) BGR, uint8, of the calibration's size → layout."""
        check_size(picture, self.calibration.camera.image_size_px, name=name)
        self.last_timings_ms = {}
        with self._step("drift"):
            drift = self.watch.check(picture, name=name or "still")
        return self._read(picture, name, previous, drift)

    def _view(self, drift: Drift) -> TopView:
        """The top view through the camera as it stands now: only finding needs it."""
        if drift.corrected_px < NEAR_PX:
            return self.view
        return self.view.moved(self.calibration.camera, drift.calibration.camera)

    def _read(self, picture: Picture, name: str, previous: Layout | None, drift: Drift) -> Layout:
        camera = drift.calibration.camera
        with self._step("cloth"):
            evidence = gather(picture, self._view(drift))
            scene = Scene(
                tone=to_tone(picture),
                cloth=evidence.cloth,
                camera=camera,
                table=self.calibration.table,
            )
        with self._step("detect"):
            first = choose(scene, self.finder.find(evidence), evidence)
        with self._step("refine"):
            final = _refine(scene, first)
        with self._step("identify"):
            names, doubts = _identify(scene, final, previous)
        with self._step("obstruction"):
            things = find_obstructions(evidence.foreign, self.view, camera, final.centre_mm)
        balls = _balls(drift.calibration, final, names)
        warnings = [*([drift.warning] if drift.warning else []), *doubts, *_warnings(balls, final)]
        for thing in things:
            x, y = thing.middle_mm
            warnings.append(
                f"Something {thing.extent_mm:.0f} mm long lies over the bed near "
                f"x {x:.0f}, y {y:.0f} mm: clear the table and take the still again."
            )
        return Layout(
            still=name,
            surface_mm=self.calibration.table.surface_mm,
            balls=balls,
            settled=True,
            obstructed=bool(things),
            warnings=tuple(warnings),
        )

    @contextmanager
    def _step(self, step: str) -> Iterator[None]:
        started = time.perf_counter()
        yield
        self.last_timings_ms[step] = (time.perf_counter() - started) * 1e3


def _balls(calibration: Calibration, final: Fit, names: tuple[Name, ...]) -> tuple[Ball, ...]:
    if not names:
        return ()
    cov = calibration.covariance_mm2(final.centre_mm, final.cov_px2)
    balls = [
        Ball(
            id=name.id,
            x_mm=float(x),
            y_mm=float(y),
            cov_mm2=((float(c[0, 0]), float(c[0, 1])), (float(c[1, 0]), float(c[1, 1]))),
            confidence=name.confidence,
            doubtful=name.doubtful,
            runners_up=name.runners_up,
        )
        for name, (x, y), c in zip(names, final.centre_mm, cov, strict=True)
    ]
    return tuple(sorted(balls, key=lambda ball: -1 if ball.id == "cue" else int(ball.id)))


def _refine(scene: Scene, first: Fit) -> Fit:
    """Two fine passes, each heeding where the neighbours are now, with no balls overlapping."""
    for search in (FINE, FINEST):
        start = _settled(scene, first)
        first = fit(scene, start, search, neighbours_mm=start)
    return replace(first, centre_mm=_settled(scene, first))


def _settled(scene: Scene, found: Fit) -> FloatArray:
    cov_mm2 = scene.camera.covariance_mm2(found.centre_mm, found.cov_px2)
    return keep_apart(found.centre_mm, cov_mm2, scene.table)


def _identify(
    scene: Scene, final: Fit, previous: Layout | None
) -> tuple[tuple[Name, ...], list[str]]:
    """Names of the balls, and what is odd about them together."""
    if len(final.centre_mm) == 0:
        return (), []
    colour, radius = sample_discs(scene.tone, scene.camera, scene.cloth, final.centre_mm)
    white = lamp_white(colour)
    seen = looks(colour, radius, white)
    names = name_balls(
        seen,
        final.centre_mm,
        previous=previous,
        certainty=1.0 if white.seen else GUESSED_LIGHT,
    )
    pale = [centre for look, centre in zip(seen, final.centre_mm, strict=True) if look.all_white]
    if white.seen and len(pale) > 1:
        where = "; ".join(f"x {x:.0f}, y {y:.0f} mm" for x, y in pale)
        return names, [f"{len(pale)} balls look like the cue ball: {where}."]
    return names, []


def _warnings(balls: tuple[Ball, ...], final: Fit) -> list[str]:
    out = []
    for ball in balls:
        if ball.doubtful:
            others = ", ".join(f"{name} ({p:.0%})" for name, p in ball.runners_up)
            out.append(
                f"Ball {ball.id} at x {ball.x_mm:.0f}, y {ball.y_mm:.0f} mm is in doubt"
                + (f"; it could be {others}." if others else ".")
            )
    for (x, y), shown in zip(final.centre_mm, final.shown, strict=True):
        if shown < HALF_HIDDEN:
            out.append(f"The ball at x {x:.0f}, y {y:.0f} mm is partly hidden.")
    return out


@lru_cache(maxsize=4)
def reader_of(calibration: Calibration) -> Reader:
    """The kept reader of a calibration."""
    return Reader(calibration)


def read_still(
    data: bytes, calibration: Calibration, *, name: str = "", previous: Layout | None = None
) -> Layout:
    """Bytes of a still → layout with every ball's place, error and name.

    ``previous`` is the layout before: unmoved balls keep their names more surely. Raises
    ``StillError`` for bytes that are no whole JPEG or PNG of the calibration's size.
    """
    return reader_of(calibration).read_still(data, name=name, previous=previous)


def read_image(
    picture: Picture, calibration: Calibration, *, name: str = "", previous: Layout | None = None
) -> Layout:
    """Like ``read_still`` for a picture (H, W, 3) BGR, uint8, that is decoded already."""
    return reader_of(calibration).read_image(picture, name=name, previous=previous)
