"""Patches of the bed that differ from the empty table, and what each looks like."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from vision.find.changes import CELL
from vision.find.finder_view import FinderView

from .cells import cell_mm
from .differences import Differences
from .texture import Texture

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
MOST_EXCESS = 6.0
"""A cell counts at most so many times its limit."""
FAINT = 0.5
"""A patch goes on through cells that differ by so many limits …"""
DARKER, DARKER_NOISES = 0.12, 4.0
"""… or are darker or brighter than the smooth light by so much, and so many noises."""
LEAST_CELLS, LEAST_CM2 = 2, 2.0
"""Less is a mark of chalk."""
SHADOW_CM2 = 60.0
"""A ball's shadow is no larger …"""
SHADOW_LOG = 0.04
"""… and brighter in none of the channels, by more than this logarithm: it only takes light away."""
LARGE_CM2 = 40.0
"""Of smaller ones that do not come in over a rail the cloth's texture tells nothing."""
SLENDER_MM, SLENDER_TIMES, LONG_MM = 55.0, 3.0, 120.0
"""A cue or a bridge's stick: so narrow at most, so many times as long, and longer than a finger."""
COLOURED_CM2, COLOURED_SHARE = 8.0, 0.025
"""Another colour than any white light gives this cloth, by so much: no light."""
TINTED, TINT_PER_WARM = 0.035, 0.1
"""Logarithm of colour across the lights', over a whole patch, that no white light gives either;
more is allowed where the light itself is another, and what noise makes."""
TINT_SIGMAS, TINT_CELLS = 4.0, 12
SURE_LIGHT, SURE_THING = 2.5, -8.0
"""Odds of the cloth's texture from which light is told, and from which a thing."""
HALF = 0.5
_WHOLE = 0.75
"""Share of a patch's differences below that at which a cell is covered wholly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The bed whose cells are compared, (rows, columns)."""

    view: FinderView = field(repr=False)
    first: tuple[int, int]
    """Row and column of the first cell in the view's cells."""
    edge: Mask = field(repr=False)
    """Those by the nose lines."""
    deep: Mask = field(repr=False)
    """Those that no nose's own shadow reaches."""
    tells: bool
    """Whether no thing that often comes over a bed has this cloth's colour."""

    def to_mm(self, cells: FloatArray) -> FloatArray:
        """Columns and rows (N, 2) of compared cells → places on the table."""
        return self.view.to_table((cells + np.array(self.first[::-1]) + 0.5) * CELL - 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """Neighbouring cells that no ball explains."""

    weight_cm2: float
    """Area of the cells beyond their limit, each counted by how far beyond, six times at most."""
    colour_cm2: float
    """The same of colour alone."""
    tinted: bool = False
    """Whether its colours are over the whole others than any white light gives."""
    texture: float = 0.0
    """Logarithm of the odds that the cloth of the empty table is seen there."""
    tells: bool = True
    """Whether no thing that often comes over a bed has this cloth's colour."""
    from_edge: bool
    """Whether it reaches the edge of the bed, as what comes in over a rail does."""
    shadow: bool = False
    """Whether it lies beside a ball and is darker throughout: light that the ball takes away."""
    slender: bool = False
    """Whether it is narrow and straight."""
    low_mm: tuple[float, float]
    high_mm: tuple[float, float]
    first: tuple[int, int] = (0, 0)
    """Row and column of its first cell in the view's cells."""
    cover: Grey = field(default_factory=lambda: np.zeros((0, 0), np.float32), repr=False)
    """Share of each cell that is covered, from there on."""

    @property
    def coloured(self) -> bool:
        """Whether it shows another colour than any white light gives this cloth."""
        return self.colour_cm2 >= max(COLOURED_CM2, COLOURED_SHARE * self.weight_cm2)

    @property
    def thing(self) -> bool:
        """Whether it is no light: of another colour, or without the cloth's texture."""
        if self.shadow:
            return False
        if self.coloured:
            return True
        return not self.tells and (self.tinted or self.texture <= SURE_THING)

    @property
    def light(self) -> bool:
        """Whether it is light or shadow alone."""
        return self.shadow or (not self.thing and (self.tells or self.texture >= SURE_LIGHT))


def patches(
    found: Differences, free: Grey, beside: Mask, texture: Texture, ground: Ground
) -> tuple[Patch, ...]:
    """The patches, weightiest first.

    ``free``: 1 at the cells that are compared, ``beside``: those where a ball's shadow starts.
    """
    strong = found.excess > 1.0
    if not strong.any():
        return ()
    off = np.abs(found.mean_light) > max(DARKER, DARKER_NOISES * found.noise)
    weak = ((found.excess > FAINT) | off) & (free > 0)
    count, found_labels, stats, _ = cv2.connectedComponentsWithStats(weak.astype(np.uint8))
    labels = np.asarray(found_labels, np.int32)
    cell_cm2 = cell_mm(ground.view) ** 2 / 100
    weight, colour = (
        _sums(labels, plane, count) * cell_cm2 for plane in (found.excess, found.colour)
    )
    deeper = np.bincount(labels[strong & ground.deep], minlength=count)
    here = replace(texture, quiet=~weak & (free > 0))
    out = []
    for k in np.argsort(-weight):
        if k == 0 or weight[k] < LEAST_CM2 or deeper[k] < LEAST_CELLS:
            continue
        left, top, columns, rows = (int(side) for side in stats[k, :4])
        box = (slice(top, top + rows), slice(left, left + columns))
        cells = labels[box] == k
        sure = cells & strong[box]
        corners = [(left - 0.5, top - 0.5), (left + columns - 0.5, top + rows - 0.5)]
        low, high = ground.to_mm(np.array(corners)).tolist()
        cover = _cover(found.away[box], cells, sure)
        from_edge = bool((cells & ground.edge[box]).any())
        coloured = colour[k] >= max(COLOURED_CM2, COLOURED_SHARE * weight[k])
        asked = not (coloured or ground.tells) and (from_edge or weight[k] >= LARGE_CM2)
        out.append(
            Patch(
                weight_cm2=float(weight[k]),
                colour_cm2=float(colour[k]),
                tinted=asked and _tinted(found, box, sure),
                texture=here.odds(labels == k) if asked else 0.0,
                tells=ground.tells,
                from_edge=from_edge,
                shadow=bool(
                    weight[k] <= SHADOW_CM2
                    and (cells & beside[box]).any()
                    and found.brightest[box][sure].mean() <= SHADOW_LOG
                ),
                slender=_slender(cover >= HALF, cell_mm(ground.view)),
                low_mm=(low[0], low[1]),
                high_mm=(high[0], high[1]),
                first=(ground.first[0] + top, ground.first[1] + left),
                cover=cover,
            )
        )
    return tuple(out)


def _sums(labels: NDArray[np.int32], plane: Grey, count: int) -> FloatArray:
    over = plane > 1.0
    each = np.minimum(plane[over], MOST_EXCESS)
    return np.asarray(np.bincount(labels[over], each, count), dtype=float)


def _cover(away: Grey, cells: Mask, sure: Mask) -> Grey:
    """How far each cell differs, against those of the patch that differ most."""
    most = away[sure]
    at = int(_WHOLE * (len(most) - 1))
    whole = float(np.partition(most, at)[at])
    return np.where(cells, np.clip(away / max(whole, 1e-3), 0.0, 1.0), 0.0).astype(np.float32)


def _slender(cells: Mask, cell_mm: float) -> bool:
    at = np.argwhere(cells).astype(np.float32)
    if len(at) < LEAST_CELLS:
        return False
    _, sides, _ = cv2.minAreaRect(at)
    short, long = ((side + 1) * cell_mm for side in sorted(sides))
    return bool(short <= SLENDER_MM and long >= max(SLENDER_TIMES * short, LONG_MM))


def _tinted(found: Differences, box: tuple[slice, slice], sure: Mask) -> bool:
    """Whether colours across the lights' are more than noise and another light make of them."""
    tint = found.tint[box][sure]
    if len(tint) < TINT_CELLS:
        return False
    warm = abs(float(found.warm[box][sure].mean()))
    darker = max(-float(found.mean_light[box][sure].mean()), 0.0)
    noise = (found.tint_noise * float(np.exp(darker))) ** 2
    chance = 1.0 + TINT_SIGMAS * (2.0 / len(tint)) ** 0.5
    return bool(np.mean(tint**2) > noise * chance + (TINTED + TINT_PER_WARM * warm) ** 2)
