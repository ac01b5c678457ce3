"""The set-up guide at ``/guide``: where each ball goes, until all stand right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from calibration.errors import RestmarkError
from service.desk.laying.guiding import Guides, Look
from service.desk.stored import calibration_of
from service.drawing import ball_icon_svg, guide_svg
from service.guide import Guided, Move
from service.layouts.entry import table_of
from service.store import Reader
from service.words.balls import ball_name
from service.words.laying.guide import (
    doubt_words,
    move_words,
    state_words,
    step_words,
    swap_words,
)
from service.words.laying.nearness import nearness_steps
from service.words.lengths import Lengths
from service.words.plain import capital, joined

from ..frame import Shown, Site

_UPRIGHT_PX = 480
"""What an upright drawing is lettered for: its words stay readable on a phone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One ball: its symbol, how it stands in words, and whether it stands right."""

    icon: Markup
    name: str
    said: str
    state: str
    """``close`` (right, but the reading cannot be sure, or the name is in doubt), ``move`` or
    ``off`` (it leaves the table)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideView:
    """Everything the page shows; without a title nothing is to be laid."""

    title: str = ""
    tolerance: str = ""
    tolerance_mm: float = 0.0
    nearness: tuple[tuple[float, str], ...] = ()
    """Tolerances that a tap leads to, in mm and in words, the one that holds among them."""
    said: str = ""
    tone: str = ""
    drawing: Markup | None = None
    rows: tuple[Row, ...] = ()
    """Balls that are not right for sure."""
    right: str = ""
    """The others, in one line."""
    steps: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    refusal: str = ""
    is_calibrated: bool = True


def install(site: Site) -> None:
    """Add the page and its parts to the site."""

    def guides(request: Request) -> Guides:
        found = request.app.state.guides
        assert isinstance(found, Guides)
        return found

    def newest(request: Request) -> Any:
        def make(_reader: Reader, shown: Shown) -> dict[str, Any]:
            turn = _turn(request, shown)
            return {"view": _view_of(lambda: guides(request).state(shown.table), shown, turn)}

        return make

    @site.app.get("/guide", include_in_schema=False)
    async def page(request: Request) -> HTMLResponse:
        return await site.page("laying/guide.html", request, newest(request))

    @site.app.get("/guide/parts", include_in_schema=False)
    async def parts(request: Request) -> HTMLResponse:
        return await site.part("laying/guide_parts.html", request, newest(request))

    @site.app.post("/guide/parts", include_in_schema=False)
    async def look(request: Request) -> HTMLResponse:
        """The parts for a picture of the table; nothing of it is kept."""
        data = await request.body()
        taught = (await site.desk.known_set(site.shown(request).table)).taught

        def make(_reader: Reader, shown: Shown) -> dict[str, Any]:
            def looked() -> Look:
                return guides(request).look(data, name="look", taught=taught, table_id=shown.table)

            return {"view": _view_of(looked, shown, _turn(request, shown))}

        return await site.part("laying/guide_parts.html", request, make)


def _turn(request: Request, shown: Shown) -> int:
    """Quarter turns: the reader's own choice, else what suits the screen, which its script says."""
    if shown.turn is not None:
        return shown.turn
    return 1 if request.query_params.get("upright") == "1" else 0


def _view_of(look: Callable[[], Look], shown: Shown, turn: int) -> GuideView:
    """A refusal is part of the page: whoever lays balls has no console."""
    try:
        found = look()
    except RestmarkError as refused:
        return GuideView() if refused.code == "no-guide" else GuideView(refusal=refused.detail)
    return guide_view(found, shown, turn)


def guide_view(look: Look, shown: Shown, turn: int = 0) -> GuideView:
    """One look as the page shows it."""
    record, found = look.record, look.found
    lengths = Lengths(units=shown.units, surface_mm=record.layout.surface_mm)
    bare = GuideView(
        title=record.layout.still or "Layout",
        tolerance=lengths.text(record.tolerance_mm),
        tolerance_mm=record.tolerance_mm,
        nearness=nearness_steps(record.tolerance_mm, lengths),
        is_calibrated=look.calibration is not None,
    )
    if found is None:
        return replace(bare, said="Nothing was read at this table yet: take a still of it.")
    said = state_words(found, lengths)
    table = (
        table_of(record.layout)
        if look.calibration is None
        else calibration_of(look.calibration).table
    )
    width_px = _UPRIGHT_PX if turn % 2 else shown.lettered_px
    svg = guide_svg(table, found, said, units=shown.units, turn=turn, width_px=width_px)
    return replace(
        bare,
        said=said,
        tone=_tone(found),
        drawing=Markup(svg),
        rows=tuple(_rows(found, lengths)),
        right=_right_words(found),
        steps=tuple(capital(step_words(step, lengths)) for step in found.steps),
        notes=(
            *(f"{swap_words(s.balls, s.saves_mm, lengths)}." for s in found.swaps),
            *(doubt_words(notice, lengths) for notice in found.notices),
        ),
    )


def _tone(found: Guided) -> str:
    if not found.is_done:
        return ""
    return "in" if found.is_sure else "close"


def _right_words(found: Guided) -> str:
    """``3, 4 and the cue ball stand right``: nobody need read them one by one."""
    right = [move.ball for move in found.moves if _state(move) == "right"]
    if not right:
        return ""
    names = ["cue ball" if ball == "cue" else ball for ball in right]
    return f"{joined(names)} {'stands' if len(right) == 1 else 'stand'} right"


def _state(move: Move) -> str:
    if not move.is_right:
        return "move"
    is_sure = move.is_sure and not move.now.doubtful and not move.is_renamed
    return "right" if is_sure else "close"


def _rows(found: Guided, lengths: Lengths) -> list[Row]:
    rows = []
    for move in found.moves:
        if _state(move) == "right":
            continue
        doubt = " (name in doubt)" if move.now.doubtful or move.is_renamed else ""
        rows.append(_row(move.ball, move_words(move, lengths) + doubt, _state(move)))
    rows += [_row(ball.id, "not on the table", "move") for ball in found.missing]
    rows += [_row(ball.id, "does not belong here", "off") for ball in found.extra]
    return rows


def _row(ball: str, said: str, state: str) -> Row:
    return Row(
        icon=Markup(ball_icon_svg(ball)), name=capital(ball_name(ball)), said=said, state=state
    )
