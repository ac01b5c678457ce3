"""What differs from the empty table over the bed and is explained by no found ball.

A calibration keeps a small picture of the empty bed. A still's top view is compared with it cell
by cell, as logarithms, so that more or less light is a plain shift. What changes smoothly is
light: lamps, daylight, exposure, white balance, a player's shadow. A thing has edges that light
does not draw, or another colour than the cloth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.bed_picture import BedPicture
from calibration.camera import Camera
from calibration.files import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM, Table

from .finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView

FloatArray = NDArray[np.float64]
Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
CELL = 2
"""View pixels per cell each way, 6.4 mm: half a cue's tip."""
BLOCK = 8
"""Cells per block, in which smooth changes of light are followed."""
AVERAGED = 3
"""Means over so many cells each way are compared: a cue's tip is two wide."""
LIGHT_MM = 80.0
"""Sigma of the smoothing that separates light from things."""
NEAR_MM = 58.0
"""Side of the surroundings against which edges are told."""
ONE_SIDED = np.float32(0.4)
NOISES = 5.0
"""A difference counts from so many of the still's own noises …"""
COLOUR, EDGE = 0.06, 0.08
"""… and from these logarithms: of a channel against the others, of brightness against near."""
COLOUR_PER_LIGHT = 4.0
"""Deep shadow changes colour too: the limit grows by so much per logarithm of brightness."""
MOST_EXCESS = 6.0
"""A cell counts at most so many times its limit."""
LEAST_CELLS = 3
NOSE_MM, BED_MM = 3.0, 9.0
"""The outermost strips at nose and bed height that are left out."""
BALL_MM = BALL_RADIUS_MM + 8.0
"""Around a found ball's centre everything is explained …"""
SHADOW_MM = 62.0
"""… and so far off what is darker, or takes a little of its colour."""
_LESS_BY_A_BALL = np.float32(0.5)
EDGE_STRIP_MM, DEEP_MM = 26.0, 19.0
"""What obstructs comes in over the nose lines: it touches the strip beside them, and reaches
deeper than their own shadow."""
MOST_SHARE = 0.15
"""Share of the bed beyond which the cloth itself is another: the reference is not used."""
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
    """1 where the bed is as bright as it mostly is, less where noise weighs more, 0 off the bed."""
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
        whole = _bed_cells(view, calibration.camera, calibration.table)
        rows, columns = (_stretch(whole.any(axis=1 - axis)) for axis in (0, 1))
        bed = whole[rows, columns]
        first = (rows.start, columns.start)
        cells = _resampled(picture, view, first, (bed.shape[0], bed.shape[1]))
        logs = np.ascontiguousarray(_LOGS[cells].transpose(2, 0, 1))
        edge = bed & ~_shrunk(bed, round(EDGE_STRIP_MM / _cell_mm(view)))
        deep = _shrunk(bed, round(DEEP_MM / _cell_mm(view)))
        plain = cls._over(view, first, logs, bed, edge, deep)
        return cls._over(view, first, logs, bed & ~plain.marks(), edge, deep)

    @classmethod
    def _over(
        cls, view: FinderView, first: tuple[int, int], logs: Grey, bed: Mask, edge: Mask,
        deep: Mask,
    ) -> Reference:  # fmt: skip
        at = np.flatnonzero(bed)
        some = at[:: max(1, len(at) // _SAMPLES)]
        common = np.median(logs.reshape(3, -1)[:, some], axis=1) if len(some) else np.zeros(3)
        darker = (logs - common[:, None, None]).min(axis=0)
        trust = np.where(bed, np.exp(np.minimum(darker, 0.0)), 0.0).astype(np.float32)
        return cls(
            view=view, first=first, logs=logs, bed=bed, edge=edge & bed, deep=deep & bed,
            trust=trust, sided=_sided(bed, view), some=some,
            scratch=np.empty((6, *bed.shape), np.float32),
        )  # fmt: skip

    def unexplained(
        self, seen: NDArray[np.uint8], balls_mm: ArrayLike
    ) -> tuple[Unexplained, ...] | None:
        """Patches of a view (448, 832, 3) that no ball at (K, 2) mm explains, weightiest first.

        None where so much differs that the cloth or the view must be another.
        """
        excess = self.excess(self._now(seen), balls_mm)
        at = np.flatnonzero(excess > 1.0)
        if len(at) > MOST_SHARE * self.bed.size:
            return None
        return self._patches(excess, at)

    def excess(self, now: Sequence[Grey], balls_mm: ArrayLike) -> Grey:
        """How many times its limit every cell differs by, 0 where nothing is compared.

        ``now`` are logarithms of the still's cells like ``logs``.
        """
        centres = _cell_places(self.view, balls_mm) - np.array(self.first[::-1])
        free, clear = self._without(centres, BALL_MM), self._without(centres, SHADOW_MM)
        by_a_ball = np.flatnonzero(free > clear)
        rest = self._without_light(now, free)
        share = np.array([1.0 / (self._noise(plane) ** 2 + 1e-4) for plane in rest])
        share /= share.sum()
        light, worst, room = self.scratch[3:]
        cv2.addWeighted(rest[0], share[0], rest[1], share[1], 0.0, dst=light)
        cv2.scaleAdd(rest[2], share[2], light, dst=light)
        self._colours(rest, light, worst, room)
        # what is near a ball takes a little of its colour, and its shadow
        worst.ravel()[by_a_ball] *= _LESS_BY_A_BALL
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
        excess[self.edge] = 0.0
        count, labels, stats, _ = cv2.connectedComponentsWithStats((excess > 1.0).astype(np.uint8))
        most = _MARK_SIDE_MM / _cell_mm(self.view)
        small = (stats[:, 2:4].max(axis=1) <= most) & (stats[:, 4] >= LEAST_CELLS)
        small[0] = False
        reach = 2 * round(_MARK_ROUND_MM / _cell_mm(self.view)) + 1
        around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
        return np.asarray(cv2.dilate(small[labels].astype(np.uint8), around) > 0)

    # -- steps -----------------------------------------------------------------------------

    def _now(self, seen: NDArray[np.uint8]) -> list[Grey]:
        """Logarithms of a view's cells: blue, green and red, (rows, columns) each."""
        rows, columns = self.bed.shape
        top, left = (CELL * start for start in self.first)
        part = seen[top : top + CELL * rows, left : left + CELL * columns]
        cells = cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA)
        return [np.asarray(cv2.LUT(cv2.extractChannel(cells, k), _LOGS)) for k in range(3)]

    def _without(self, centres: FloatArray, radius_mm: float) -> Grey:
        """1 at the bed's cells that are farther than this from all centres, else 0."""
        free = self.bed.astype(np.float32)
        fine = 16
        radius = round(radius_mm / _cell_mm(self.view) * fine)
        for column, row in np.round(centres * fine).astype(int):
            cv2.circle(free, (int(column), int(row)), radius, (0.0,), -1, cv2.LINE_8, 4)
        return free

    def _without_light(self, now: Sequence[Grey], free: Grey) -> Grey:
        """What is left of ``now`` against the reference without what changes smoothly."""
        rows, columns = free.shape
        rest, room = self.scratch[:3], self.scratch[3]
        for plane, there, here in zip(rest, self.logs, now, strict=True):
            np.subtract(here, there, out=room)
            cv2.blur(room, (AVERAGED, AVERAGED), dst=plane)
        each = slice(BLOCK // 2, None, BLOCK)
        light = _smooth_light(rest[:, each, each], free[each, each], self.view)
        for plane, smooth in zip(rest, light, strict=True):
            cv2.resize(smooth, (columns, rows), dst=room, interpolation=cv2.INTER_LINEAR)
            plane -= room
        return rest

    def _edges(self, light: Grey, free: Grey, room: Grey) -> Grey:
        """How far brightness differs from what is near, in limits."""
        near = round(NEAR_MM / _cell_mm(self.view)) // 2 * 2 + 1
        np.multiply(light, free, out=room)
        edges = cv2.blur(room, (near, near), borderType=cv2.BORDER_CONSTANT)
        cv2.blur(free, (near, near), dst=room, borderType=cv2.BORDER_CONSTANT)
        room += np.float32(1e-6)
        edges /= room
        cv2.absdiff(light, edges, dst=edges)
        edges *= np.float32(1 / max(NOISES * self._noise(edges), EDGE))
        edges *= self.sided
        return np.asarray(edges, np.float32)

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
        weight = np.bincount(label, np.minimum(excess.ravel()[at], MOST_EXCESS), count)
        weight *= _cell_mm(self.view) ** 2 / 100
        edge = np.bincount(label, self.edge.ravel()[at], count) > 0
        deep = np.bincount(label, self.deep.ravel()[at], count) >= LEAST_CELLS
        return tuple(
            self._patch(stats[k, :4], float(weight[k]), bool(edge[k]))
            for k in np.argsort(-weight)
            if k > 0 and deep[k]
        )

    def _patch(self, box: NDArray[np.int32], weight_cm2: float, from_edge: bool) -> Unexplained:
        low = box[:2] + np.array(self.first[::-1]) - 0.5
        corners = (np.stack([low, low + box[2:]]) + 0.5) * CELL - 0.5
        (left, top), (right, bottom) = self.view.to_table(corners).tolist()
        return Unexplained(
            weight_cm2=weight_cm2, from_edge=from_edge, low_mm=(left, top), high_mm=(right, bottom)
        )


ROUNDS = 1
_FAR, _LIGHT, _BLOCK_NOISES = 1.5, 0.03, 4.0
"""Logarithms by which blocks may differ from all, and from their surroundings, as light."""


def _cell_mm(view: FinderView) -> float:
    return view.scale_mm * CELL


def _cell_places(view: FinderView, places_mm: ArrayLike) -> FloatArray:
    """Columns and rows (N, 2) among the view's cells of places, mm."""
    return (view.to_view(places_mm) + 0.5) / CELL - 0.5


def _stretch(some: NDArray[np.bool_]) -> slice:
    """From the first to the last that is true, widened to whole blocks."""
    at = np.flatnonzero(some)
    if len(at) == 0:
        return slice(0, len(some) // BLOCK * BLOCK)
    start = int(at[0])
    length = -(-(int(at[-1]) + 1 - start) // BLOCK) * BLOCK
    start = max(min(start, len(some) - length), 0)
    return slice(start, start + length)


def _sided(bed: Mask, view: FinderView) -> Grey:
    """Light's own slope looks like an edge where the surroundings end."""
    inner = _shrunk(bed, round(NEAR_MM / 2 / _cell_mm(view)))
    return np.where(inner, 1.0, ONE_SIDED).astype(np.float32)


def _shrunk(bed: Mask, cells: int) -> Mask:
    """Without its outermost cells."""
    square = np.ones((2 * cells + 1, 2 * cells + 1), np.uint8)
    inside = cv2.erode(
        bed.astype(np.uint8), square, borderType=cv2.BORDER_CONSTANT, borderValue=(0,)
    )
    return np.asarray(inside > 0)


def _smooth_light(seen: Grey, free: Grey, view: FinderView) -> Grey:
    """Smooth planes (3, rows, columns) through samples ``BLOCK`` cells apart.

    Left out are those that are not free, and those that lie off what is around: things.
    """
    full = free > 0
    if not full.any():
        return np.zeros_like(seen)
    sigma = LIGHT_MM / _cell_mm(view) / BLOCK
    middle = np.median(seen[:, full], axis=1)[:, None, None]
    weight = free * (np.abs(seen - middle).max(axis=0) < _FAR)
    for _ in range(ROUNDS):
        off = np.abs(seen - _smooth(seen, weight, sigma)).max(axis=0)
        weight = free * (off < max(_BLOCK_NOISES * float(np.median(off[full])), _LIGHT))
    return _smooth(seen, weight, sigma)


def _smooth(planes: Grey, weight: Grey, sigma: float) -> Grey:
    """Gaussian mean of planes (3, rows, columns) by their weights."""
    stack = np.dstack([*(planes * weight), weight]).astype(np.float32)
    sums = cv2.GaussianBlur(stack, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT)
    return np.stack([sums[..., k] / np.maximum(sums[..., 3], 1e-3) for k in range(3)])


def _resampled(
    picture: BedPicture, view: FinderView, first: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.uint8]:
    """The kept picture in the view's cells, from the ``first`` row and column on."""
    rows, columns = (np.arange(n) + start for n, start in zip(size, first, strict=True))
    grid = np.stack(np.broadcast_arrays(columns, rows[:, None]), axis=-1).reshape(-1, 2)
    places = view.to_table((grid + 0.5) * CELL - 0.5)
    at = ((places - np.array(picture.corner_mm)) / picture.scale_mm).astype(np.float32)
    across, down = (at[:, k].reshape(size).copy() for k in range(2))
    out = cv2.remap(
        picture.pixels(), across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(out, np.uint8)


def _bed_cells(view: FinderView, camera: Camera, table: Table) -> Mask:
    """The view's cells that show bed and nothing nearer: inside the noses, off the pockets."""
    size = (VIEW_ROWS // CELL, VIEW_COLUMNS // CELL)
    out = np.ones(size, np.uint8)
    for height_mm, strip_mm in ((0.0, BED_MM), (table.nose_height_mm, NOSE_MM)):
        mask = np.zeros(size, np.uint8)
        outline = _outline_mm(table, strip_mm)
        seen = camera.project(np.column_stack([outline, np.full(len(outline), height_mm)]))
        places = camera.back_project(seen, BALL_CENTRE_HEIGHT_MM)
        cells = np.round(_cell_places(view, places) * 16).astype(np.int32)
        cv2.fillPoly(mask, [cells], (1,), cv2.LINE_8, 4)
        out &= mask
    for pocket in table.pockets:
        middle = _cell_places(view, [pocket.aim_mm])[0]
        radius = pocket.mouth_mm / 2 / _cell_mm(view)
        at = np.round(middle * 16).astype(int)
        cv2.circle(out, (int(at[0]), int(at[1])), round(radius * 16), (0,), -1, cv2.LINE_8, 4)
    return out > 0


def _outline_mm(table: Table, strip_mm: float, count: int = 24) -> FloatArray:
    """Points along the nose lines, so far inside them, all round, (4·count, 2)."""
    low = np.array([strip_mm, strip_mm])
    high = np.array(table.surface_mm) - strip_mm
    corners = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
    part = (np.arange(count) / count)[:, None]
    ways = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    return np.concatenate([start + part * (end - start) for start, end in ways])
