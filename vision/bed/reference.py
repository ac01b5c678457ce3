"""What differs from the empty table over the bed and is explained by no found ball.

A calibration keeps a small picture of the empty bed. A still's top view is compared with it cell
by cell, as logarithms, so that more or less light is a plain shift. What changes smoothly is
light: lamps, daylight, exposure, white balance, a player's shadow. A thing has edges that light
does not draw, or another colour than the cloth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.arrays import FloatArray
from calibration.kept.calibration import Calibration
from calibration.table import BALL_RADIUS_MM
from vision.find.changes import CELL, Cells
from vision.find.finder_view import FinderView

from .cells import bed_cells, cell_mm, cell_places, resampled, shrunk, stretch
from .light import smooth_light

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
BLOCK = 4
"""Cells per block, in which smooth changes of light are followed."""
NEAR_MM = 58.0
"""Side of the surroundings against which edges are told."""
ONE_SIDED = 0.6
"""Counts so much less by the noses: light's own slope looks like an edge where the bed ends."""
NOISES = 5.0
"""A difference counts from so many of the still's own noises …"""
COLOUR, EDGE = 0.06, 0.08
"""… and from these logarithms: of a channel against the others, of brightness against near."""
COLOUR_PER_LIGHT = 4.0
"""Deep shadow changes colour too: the limit grows by so much per logarithm of brightness."""
MOST_EXCESS = 6.0
"""A cell counts at most so many times its limit."""
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
MOST_SHARE = 0.15
"""Share of the bed beyond which the cloth itself is another: the reference is not used …"""
MOST_NOISE = 0.1
"""… nor where brightness differs from cell to cell by this logarithm."""
_OFFSET = 6.0
"""Grey levels added before the logarithm: black is noise."""
_SAMPLES = 1500
_MARK_SIDE_MM, _MARK_ROUND_MM = 250.0, 25.0
"""Marks of the empty bed itself up to this size are left out, with what lies around."""
_TAIL, _TAIL_SIGMAS = 0.90, 1.645
_LOGS = np.log(np.arange(256, dtype=np.float32) + np.float32(_OFFSET))


@dataclass(frozen=True, slots=True, kw_only=True)
class Unexplained:
    """A patch over the bed that the empty table does not show and no found ball explains."""

    weight_cm2: float
    """Its area, every cell counted by how far beyond its limit it differs, six times at most."""
    from_edge: bool
    """Whether it reaches the edge of the bed, as what lies over it does."""
    low_mm: tuple[float, float]
    high_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The empty bed in cells of one view, to compare stills with."""

    view: FinderView = field(repr=False)
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
    scratch: Grey = field(repr=False)
    """Room to work in, (6, rows, columns): one still is compared at a time."""

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
        inner = shrunk(bed, round(NEAR_MM / 2 / cell))
        plain = cls(
            view=view,
            first=first,
            logs=logs,
            bed=bed,
            edge=bed & ~shrunk(bed, round(EDGE_STRIP_MM / cell)),
            deep=shrunk(bed, round(DEEP_MM / cell)),
            trust=np.exp(np.minimum(darker, 0.0)).astype(np.float32),
            sided=np.where(inner, 1.0, ONE_SIDED).astype(np.float32),
            some=some,
            scratch=np.empty((6, *bed.shape), np.float32),
        )
        bare = ~plain.marks()
        return replace(plain, bed=bed & bare, edge=plain.edge & bare, deep=plain.deep & bare)

    def unexplained(self, cells: Cells, balls_mm: ArrayLike) -> tuple[Unexplained, ...] | None:
        """Patches of a view's cells that no ball at (K, 2) mm explains, weightiest first.

        None where so much differs that the cloth or the view must be another.
        """
        excess = self.excess(self._now(cells), balls_mm)
        if excess is None:
            return None
        at = np.flatnonzero(excess > 1.0)
        if len(at) > MOST_SHARE * self.bed.size:
            return None
        return self._patches(excess, at)

    def excess(self, now: Sequence[Grey], balls_mm: ArrayLike) -> Grey | None:
        """How many times its limit every cell differs by, 0 where nothing is compared.

        None where all differs, so that nothing stands out. ``now`` are logarithms of the still's
        cells like ``logs``.
        """
        centres = cell_places(self.view, balls_mm) - np.array(self.first[::-1])
        free, clear = self._without(centres, BALL_MM), self._without(centres, SHADOW_MM)
        by_a_ball = np.flatnonzero(free > clear)
        rest = self._without_light(now, free)
        share = np.array([1.0 / (self._noise(plane) ** 2 + 1e-4) for plane in rest])
        share /= share.sum()
        light, worst, room = self.scratch[3:]
        cv2.addWeighted(rest[0], share[0], rest[1], share[1], 0.0, dst=light)
        cv2.scaleAdd(rest[2], share[2], light, dst=light)
        if self._noise(light) > MOST_NOISE:
            return None
        self._colours(rest, light, worst, room)
        # what is near a ball takes a little of its colour, and its shadow
        worst.ravel()[by_a_ball] *= np.float32(LESS_BY_A_BALL)
        edges = self._edges(light, free, room)
        edges.ravel()[by_a_ball[light.ravel()[by_a_ball] < 0]] = 0.0
        np.maximum(worst, edges, out=worst)
        worst *= self.trust
        worst *= free
        return worst

    def marks(self) -> Mask:
        """Spots, stickers and forgotten balls that the empty bed itself shows, grown a little.

        They cannot be told from what comes or goes; lines and shadows along the noses stay in.
        """
        bare = np.zeros((0, 2))
        even = np.median(self.logs.reshape(3, -1)[:, self.some], axis=1) if len(self.some) else 0.0
        excess = self.excess([*(2 * self.logs - np.reshape(even, (-1, 1, 1)))], bare)
        if excess is None:
            return np.zeros_like(self.bed)
        excess[self.edge] = 0.0
        over = (excess > 1.0).astype(np.uint8)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(over)
        most = _MARK_SIDE_MM / cell_mm(self.view)
        small = (stats[:, 2:4].max(axis=1) <= most) & (stats[:, 4] >= LEAST_CELLS)
        small[0] = False
        reach = 2 * round(_MARK_ROUND_MM / cell_mm(self.view)) + 1
        around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
        return np.asarray(cv2.dilate(small[labels].astype(np.uint8), around) > 0)

    # -- steps -----------------------------------------------------------------------------

    def _now(self, cells: Cells) -> list[Grey]:
        """Logarithms of a view's cells: blue, green and red, (rows, columns) each."""
        rows, columns = self.bed.shape
        top, left = self.first
        levels = cells[top : top + rows, left : left + columns].astype(np.uint8)
        return [np.asarray(cv2.LUT(cv2.extractChannel(levels, k), _LOGS)) for k in range(3)]

    def _without(self, centres: FloatArray, radius_mm: float) -> Grey:
        """1 at the bed's cells that are farther than this from all centres, else 0."""
        free = self.bed.astype(np.float32)
        fine = 16
        radius = round(radius_mm / cell_mm(self.view) * fine)
        for column, row in np.round(centres * fine).astype(int):
            cv2.circle(free, (int(column), int(row)), radius, (0.0,), -1, cv2.LINE_8, 4)
        return free

    def _without_light(self, now: Sequence[Grey], free: Grey) -> Grey:
        """What is left of ``now`` against the reference without what changes smoothly."""
        rows, columns = free.shape
        rest, room = self.scratch[:3], self.scratch[3]
        for plane, there, here in zip(rest, self.logs, now, strict=True):
            np.subtract(here, there, out=plane)
        each = slice(BLOCK // 2, None, BLOCK)
        light = smooth_light(rest[:, each, each], free[each, each], BLOCK * cell_mm(self.view))
        for plane, smooth in zip(rest, light, strict=True):
            cv2.resize(smooth, (columns, rows), dst=room, interpolation=cv2.INTER_LINEAR)
            plane -= room
        return rest

    def _edges(self, light: Grey, free: Grey, room: Grey) -> Grey:
        """How far brightness differs from what is near, in limits."""
        near = round(NEAR_MM / cell_mm(self.view)) // 2 * 2 + 1
        np.multiply(light, free, out=room)
        size = (near, near)
        edges = np.asarray(cv2.blur(room, size, borderType=cv2.BORDER_CONSTANT), np.float32)
        cv2.blur(free, size, dst=room, borderType=cv2.BORDER_CONSTANT)
        room += np.float32(1e-6)
        edges /= room
        cv2.absdiff(light, edges, dst=edges)
        edges *= np.float32(1 / max(NOISES * self._noise(edges), EDGE))
        edges *= self.sided
        return edges

    def _colours(self, rest: Grey, light: Grey, worst: Grey, room: Grey) -> None:
        """How far the channels differ from each other, in limits, into ``worst``."""
        worst[:] = 0.0
        for plane in rest:
            cv2.absdiff(plane, light, dst=room)
            room *= np.float32(1 / max(NOISES * self._noise(room), COLOUR))
            np.maximum(worst, room, out=worst)
        np.abs(light, out=room)
        room *= np.float32(COLOUR_PER_LIGHT)
        room += np.float32(1.0)
        worst /= room

    def _noise(self, values: Grey) -> float:
        """Standard deviation of what is common: of the middle, or of the tail where it is heavy."""
        count = len(self.some)
        if count == 0:
            return 0.0
        half, most = count // 2, int(_TAIL * count)
        ordered = np.partition(np.abs(values.ravel()[self.some]), (half, most))
        return max(1.48 * float(ordered[half]), float(ordered[most]) / _TAIL_SIGMAS)

    def _patches(self, excess: Grey, at: NDArray[np.intp]) -> tuple[Unexplained, ...]:
        """Neighbouring cells of those ``at`` flat indices, together."""
        if len(at) == 0:
            return ()
        row, column = np.divmod(at, excess.shape[1])
        top, left = int(row.min()), int(column.min())
        part = excess[top : int(row.max()) + 1, left : int(column.max()) + 1]
        _, over = cv2.threshold(part, 1.0, 1.0, cv2.THRESH_BINARY)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(over.astype(np.uint8))
        label = labels[row - top, column - left]
        stats[:, :2] += (left, top)
        each = np.minimum(excess.ravel()[at], MOST_EXCESS) * (cell_mm(self.view) ** 2 / 100)
        weight = np.bincount(label, each, count)
        edge = np.bincount(label, self.edge.ravel()[at], count) > 0
        deep = np.bincount(label, self.deep.ravel()[at], count) >= LEAST_CELLS
        return tuple(
            self._patch(np.asarray(stats[k, :4]), float(weight[k]), bool(edge[k]))
            for k in np.argsort(-weight)
            if k > 0 and deep[k]
        )

    def _patch(self, box: NDArray[np.integer], weight_cm2: float, from_edge: bool) -> Unexplained:
        low = box[:2] + np.array(self.first[::-1]) - 0.5
        corners = (np.stack([low, low + box[2:]]) + 0.5) * CELL - 0.5
        (left, top), (right, bottom) = self.view.to_table(corners).tolist()
        return Unexplained(
            weight_cm2=weight_cm2, from_edge=from_edge, low_mm=(left, top), high_mm=(right, bottom)
        )
