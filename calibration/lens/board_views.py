"""Which board stills are good enough for the lens fit, and why the others are not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError

from .board import BoardPattern, BoardView, find_board, square_px
from .file import BoardStill
from .sharpness import edge_width_px, finest_edge_px

Still = tuple[str, NDArray[np.uint8]]
"""Name and picture, (H, W, 3) BGR or (H, W) grey."""
FEWEST_STILLS = 5
SOFTER = 1.75
"""Largest width of a still's board edges in parts of the median still's: beyond it the camera
moved, or the focus did, and with that the lens."""
SHARP_PX = 3.0
"""Edges up to this width are sharp, whatever the others are."""
BLURRED_SHARE = 0.15
"""Largest width of board edges in parts of a square's side."""
_SOFTER_WHOLE = 1.4
"""As ``SOFTER`` for whole pictures in which no board was found; they vary less."""
_SOFT_WHOLE_PX = 4.5
"""Where no still shows a board, the width of finest edges that tells blur."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    view: BoardView
    edge_px: float
    square_px: float


def usable_views(
    stills: Sequence[Still], board: BoardPattern, unread: Mapping[str, BoardStill]
) -> tuple[tuple[int, int], list[BoardView], dict[str, BoardStill]]:
    """Picture size (width, height), the usable views and a record of every still by name.

    A record is ``used`` as long as nothing speaks against its still. Raises CalibrationError for
    doubles, where no size is the commonest and where too few stills are usable; the text then
    tells of the ``unread`` files too.
    """
    _check_names(stills)
    size = _commonest_size(stills)
    seen: list[_Seen] = []
    records: dict[str, BoardStill] = {}
    unfound: list[tuple[Still, CalibrationError]] = []
    for name, still in stills:
        if (still.shape[1], still.shape[0]) != size:
            records[name] = _other_size(name, still, size)
            continue
        try:
            seen.append(_see(name, still, board))
        except CalibrationError as refused:
            unfound.append(((name, still), refused))
    records |= _unfound(unfound, [still for still in stills if still[0] in _names(seen)])
    kept, blurred = _without_blurred(seen)
    records |= blurred
    records |= {
        one.view.name: BoardStill(
            name=one.view.name,
            used=True,
            corners=len(one.view.corners_px),
            edge_px=_finite(one.edge_px),
        )
        for one in kept
    }
    views = [one.view for one in kept]
    check_enough(views, {**unread, **records})
    # in the order given
    return size, views, {name: records[name] for name, _ in stills}


def check_enough(views: Sequence[BoardView], records: Mapping[str, BoardStill]) -> None:
    """Refuse fewer than ``FEWEST_STILLS`` usable views.

    Raises:
        CalibrationError: there are fewer; the text holds every reason.
    """
    if len(views) < FEWEST_STILLS:
        reasons = "; ".join(s.reason.rstrip(".") for s in records.values() if not s.used)
        raise CalibrationError(
            f"lens: got {len(views)} usable board stills; allowed: {FEWEST_STILLS} or more. "
            f"Not used: {reasons or 'none'}. Take more stills of the board, tilted several ways "
            "and over the whole picture."
        )


# -- steps ---------------------------------------------------------------------------------


def _check_names(stills: Sequence[Still]) -> None:
    names = {name for name, _ in stills}
    if len(names) < len(stills):
        raise CalibrationError(
            f"lens: got {len(stills)} stills under {len(names)} names; allowed: each still once. "
            "Leave the doubles out."
        )


def _commonest_size(stills: Sequence[Still]) -> tuple[int, int]:
    counts = Counter((still.shape[1], still.shape[0]) for _, still in stills)
    if not counts:
        return (0, 0)
    (size, most), *others = counts.most_common()
    if others and others[0][1] == most:
        sizes = ", ".join(f"{count} of {w}x{h}" for (w, h), count in counts.most_common())
        raise CalibrationError(
            f"lens: got stills of several sizes, {sizes}; allowed: one size, that of the practice "
            "stills. Leave the odd ones out."
        )
    return size


def _other_size(name: str, still: NDArray[np.uint8], size: tuple[int, int]) -> BoardStill:
    return BoardStill(
        name=name,
        used=False,
        code="other-size",
        reason=f"{name}: got {still.shape[1]}x{still.shape[0]} px; allowed: {size[0]}x{size[1]} px "
        "as most of the stills have. Take all at the size of the practice stills.",
    )


def _see(name: str, still: NDArray[np.uint8], board: BoardPattern) -> _Seen:
    view = find_board(name, still, board)
    return _Seen(
        view=view,
        edge_px=edge_width_px(still, view, board),
        square_px=square_px(view.board_mm, view.corners_px, board),
    )


def _names(seen: Sequence[_Seen]) -> set[str]:
    return {one.view.name for one in seen}


def _unfound(
    unfound: Sequence[tuple[Still, CalibrationError]], found: Sequence[Still]
) -> dict[str, BoardStill]:
    """Stills without enough of a board: blurred by the measure of the others, or as they say."""
    if not unfound:
        return {}
    widths = [finest_edge_px(still) for _, still in found]
    known = [width for width in widths if np.isfinite(width)]
    limit_px = _SOFTER_WHOLE * float(np.median(known)) if known else _SOFT_WHOLE_PX
    out = {}
    for (name, still), refused in unfound:
        width_px = finest_edge_px(still)
        record = BoardStill(
            name=name, used=False, code=refused.code, reason=refused.detail,
            edge_px=_finite(width_px),
        )  # fmt: skip
        if width_px > limit_px:
            record = replace(record, code="blurred", reason=_blurred(name, width_px, limit_px))
        out[name] = record
    return out


def _without_blurred(seen: Sequence[_Seen]) -> tuple[list[_Seen], dict[str, BoardStill]]:
    widths = [one.edge_px for one in seen if np.isfinite(one.edge_px)]
    softest_px = max(SHARP_PX, SOFTER * float(np.median(widths))) if widths else SHARP_PX
    kept, blurred = [], {}
    for one in seen:
        limit_px = min(softest_px, max(SHARP_PX, BLURRED_SHARE * one.square_px))
        if one.edge_px > limit_px:
            blurred[one.view.name] = BoardStill(
                name=one.view.name,
                used=False,
                code="blurred",
                corners=len(one.view.corners_px),
                edge_px=one.edge_px,
                reason=_blurred(one.view.name, one.edge_px, limit_px),
            )
        else:
            kept.append(one)
    return kept, blurred


def _blurred(name: str, width_px: float, limit_px: float) -> str:
    return (
        f"{name}: got edges {width_px:.1f} px wide, blurred; allowed: {limit_px:.1f} px beside the "
        "other stills and the size of the squares. Hold board and camera still and lock the focus."
    )


def _finite(width_px: float) -> float | None:
    return width_px if np.isfinite(width_px) else None
