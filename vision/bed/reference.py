"""What differs from the empty table over the bed and is explained by no found ball.

A calibration keeps a small picture of the empty bed. A still's top view is compared with it cell
by cell, as logarithms, so that more or less light is a plain shift. What changes smoothly is
light: lamps, daylight, exposure, white balance, a player's shadow. A thing has edges that light
does not draw, or another colour than the cloth.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.arrays import FloatArray
from calibration.kept.calibration import Calibration
from calibration.table import BALL_RADIUS_MM, Table
from vision.find.changes import Cells
from vision.find.finder_view import FinderView

from .cells import bed_cells, cell_mm, cell_places, resampled, shrunk, stretch
from .differences import TINT, WARM, Differences, differences
from .light import smooth_light
from .patches import Ground, Patch, patches
from .texture import Texture

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
BLOCK = 4
"""Cells per block, in which smooth changes of light are followed."""
INNER_MM = 58.0
"""Side of the surroundings against which edges are told …"""
ONE_SIDED = 0.6
"""… which count so much by the noses: light's own slope looks like an edge where the bed ends."""
LEAST_CELLS = 2
BALL_MM = BALL_RADIUS_MM + 8.0
"""Around a found ball's centre everything is explained …"""
SHADOW_MM = 62.0
"""… and so far off what is darker, or takes a little of its colour."""
LESS_BY_A_BALL = 0.5
"""Another colour counts so much less there."""
EDGE_STRIP_MM, DEEP_MM = 26.0, 19.0
"""What obstructs comes in over the nose lines: it touches the strip beside them, and reaches
deeper than their own shadow."""
MOST_SHARE = 0.4
"""Share of the bed beyond which the cloth itself is another: the reference is not used …"""
MOST_NOISE = 0.1
"""… nor where what is common differs from cell to cell by this logarithm."""
OTHER_TINT, OTHER_WARM = 0.3, (-0.3, 0.7)
"""Colours beyond these, logarithms, are no thing's that often comes over a bed."""
_OFFSET = 6.0
"""Grey levels added before the logarithm: black is noise."""
_SAMPLES = 1500
_TAIL, _TAIL_SIGMAS = 0.8, 1.282
"""Of a tail that even a body over the bed does not reach."""
_MARK_SIDE_MM, _MARK_ROUND_MM = 250.0, 25.0
"""Marks of the empty bed itself up to this size are left out, with what lies around."""
_LOGS = np.log(np.arange(256, dtype=np.float32) + np.float32(_OFFSET))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The empty bed in cells of one view, to compare stills with."""

    view: FinderView = field(repr=False)
    table: Table
    first: tuple[int, int]
    """Row and column of the first cell in the view's cells."""
    logs: Grey = field(repr=False)
    """Blue, green and red, (3, rows, columns)."""
    bed: Mask = field(repr=False)
    """Cells that are compared."""
    edge: Mask = field(repr=False)
    """Those by the nose lines."""
    deep: Mask = field(repr=False)
    """Those that no nose's own shadow reaches."""
    trust: Grey = field(repr=False)
    """1 where the bed is as bright as it mostly is, less where noise weighs more."""
    sided: Grey = field(repr=False)
    """1 where what is near lies all round, less by the noses."""
    some: NDArray[np.intp] = field(repr=False)
    """Indices of enough of them to tell noise by."""
    tells: bool
    """Whether this cloth's colour is one that neither skin nor black, white, grey or wood has."""

    @classmethod
    def of(cls, calibration: Calibration, view: FinderView) -> Reference | None:
        """The reference a calibration holds; None where it holds none."""
        picture = calibration.bed_picture
        if picture is None:
            return None
        whole = bed_cells(view, calibration.camera, calibration.table)
        rows, columns = (stretch(np.asarray(whole.any(axis=1 - axis)), BLOCK) for axis in (0, 1))
        bed = whole[rows, columns]
        first = (rows.start, columns.start)
        cells = resampled(picture, view, first, (bed.shape[0], bed.shape[1]))
        logs = np.ascontiguousarray(_LOGS[cells].transpose(2, 0, 1))
        at = np.flatnonzero(bed)
        some = at[:: max(1, len(at) // _SAMPLES)]
        common = np.median(logs.reshape(3, -1)[:, some], axis=1) if len(some) else np.zeros(3)
        darker = (logs - common[:, None, None]).min(axis=0)
        cell = cell_mm(view)
        inner = shrunk(bed, round(INNER_MM / 2 / cell))
        plain = cls(
            view=view,
            table=calibration.table,
            first=first,
            logs=logs,
            bed=bed,
            edge=bed & ~shrunk(bed, round(EDGE_STRIP_MM / cell)),
            deep=shrunk(bed, round(DEEP_MM / cell)),
            trust=np.exp(np.minimum(darker, 0.0)).astype(np.float32),
            sided=np.where(inner, 1.0, ONE_SIDED).astype(np.float32),
            some=some,
            tells=tells_things(common),
        )
        bare = ~plain.marks()
        return replace(plain, bed=bed & bare, edge=plain.edge & bare, deep=plain.deep & bare)

    def unexplained(self, cells: Cells, balls_mm: ArrayLike) -> tuple[Patch, ...] | None:
        """Patches of a view's cells that no ball at (K, 2) mm explains, weightiest first.

        None where so much differs that the cloth or the view must be another.
        """
        now = self._now(cells)
        free, shaded = self._about_balls(balls_mm)
        found = self.differences(now, free, shaded)
        if found is None:
            return None
        if (found.excess > 1.0).sum() > MOST_SHARE * self.bed.sum():
            return None
        return self._patches(found, free, shaded, now)

    def own_patches(self) -> tuple[Patch, ...]:
        """Patches of the empty bed itself that are not like the rest of its cloth."""
        free, shaded = self._about_balls(np.zeros((0, 2)))
        found = self.differences(self._against_even(), free, shaded)
        return () if found is None else self._patches(found, free, shaded, self.logs)

    def _patches(
        self, found: Differences, free: Grey, shaded: Mask, now: Grey
    ) -> tuple[Patch, ...]:
        texture = Texture(empty=self.logs, now=now, quiet=self.bed)
        ground = Ground(
            view=self.view, first=self.first, edge=self.edge, deep=self.deep, tells=self.tells
        )
        return patches(found, free, shaded, texture, ground)

    def _against_even(self) -> Grey:
        """What a still would show whose differences are those of the empty bed from an even one."""
        planes = self.logs.reshape(3, -1)[:, self.some]
        even = np.median(planes, axis=1) if len(self.some) else np.zeros(3)
        return np.asarray(2 * self.logs - even[:, None, None], np.float32)

    def differences(self, now: Grey, free: Grey, shaded: Mask) -> Differences | None:
        """How far every cell differs; None where all does, so that nothing stands out.

        ``now`` are logarithms of the still's cells like ``logs``.
        """
        rest = self._without_light(now, free)
        if self._unevenness(rest) > MOST_NOISE:
            return None
        return differences(
            rest, free, self._noise, logs=self.logs, trust=self.trust, sided=self.sided,
            shaded=shaded, by_a_ball=LESS_BY_A_BALL,
        )  # fmt: skip

    def marks(self) -> Mask:
        """Spots, stickers and forgotten balls that the empty bed itself shows, grown a little.

        They cannot be told from what comes or goes; lines and shadows along the noses stay in.
        """
        free, shaded = self._about_balls(np.zeros((0, 2)))
        found = self.differences(self._against_even(), free, shaded)
        if found is None:
            return np.zeros_like(self.bed)
        excess = np.where(self.edge, 0.0, found.excess)
        over = (excess > 1.0).astype(np.uint8)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(over)
        most = _MARK_SIDE_MM / cell_mm(self.view)
        small = (stats[:, 2:4].max(axis=1) <= most) & (stats[:, 4] >= LEAST_CELLS)
        small[0] = False
        reach = 2 * round(_MARK_ROUND_MM / cell_mm(self.view)) + 1
        around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
        return np.asarray(cv2.dilate(small[labels].astype(np.uint8), around) > 0)

    # -- steps -----------------------------------------------------------------------------

    def _now(self, cells: Cells) -> Grey:
        """Logarithms of a view's cells: blue, green and red, (3, rows, columns)."""
        rows, columns = self.bed.shape
        top, left = self.first
        levels = cells[top : top + rows, left : left + columns].astype(np.uint8)
        return np.stack([cv2.LUT(cv2.extractChannel(levels, k), _LOGS) for k in range(3)])

    def _about_balls(self, balls_mm: ArrayLike) -> tuple[Grey, Mask]:
        """1 at the bed's cells off all balls, else 0; and which of them a ball may shade."""
        centres = cell_places(self.view, balls_mm) - np.array(self.first[::-1])
        free, clear = self._without(centres, BALL_MM), self._without(centres, SHADOW_MM)
        return free, np.asarray(free > clear)

    def _without(self, centres: FloatArray, radius_mm: float) -> Grey:
        """1 at the bed's cells that are farther than this from all centres, else 0."""
        free = self.bed.astype(np.float32)
        fine = 16
        radius = round(radius_mm / cell_mm(self.view) * fine)
        for column, row in np.round(centres * fine).astype(int):
            cv2.circle(free, (int(column), int(row)), radius, (0.0,), -1, cv2.LINE_8, 4)
        return free

    def _without_light(self, now: Grey, free: Grey) -> Grey:
        """What is left of ``now`` against the reference without what changes smoothly."""
        rows, columns = free.shape
        rest = now - self.logs
        each = slice(BLOCK // 2, None, BLOCK)
        light = smooth_light(rest[:, each, each], free[each, each], BLOCK * cell_mm(self.view))
        for plane, smooth in zip(rest, light, strict=True):
            plane -= cv2.resize(smooth, (columns, rows), interpolation=cv2.INTER_LINEAR)
        return np.asarray(rest, np.float32)

    def _unevenness(self, rest: Grey) -> float:
        """Standard deviation of brightness in the half of the bed that differs least."""
        if len(self.some) == 0:
            return 0.0
        few = rest.reshape(3, -1)[:, self.some].mean(axis=0)
        return 1.48 * float(np.median(np.abs(few)))

    def _noise(self, values: Grey) -> float:
        """Standard deviation of what is common: of the middle, or of the tail where it is heavy."""
        count = len(self.some)
        if count == 0:
            return 0.0
        half, most = count // 2, int(_TAIL * count)
        ordered = np.partition(np.abs(values.ravel()[self.some]), (half, most))
        return max(1.48 * float(ordered[half]), float(ordered[most]) / _TAIL_SIGMAS)


def tells_things(logs: ArrayLike) -> bool:
    """Whether a cloth of these logarithms (blue, green, red) is like nothing that comes over it.

    Skin, wood, black, white and grey lie along the colours of white lights.
    """
    blue, green, red = np.asarray(logs, dtype=float)
    warm, tint = (way[0] * (red - green) + way[1] * (blue - green) for way in (WARM, TINT))
    return bool(abs(tint) > OTHER_TINT or not OTHER_WARM[0] < warm < OTHER_WARM[1])
