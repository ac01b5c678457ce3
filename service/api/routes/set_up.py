"""Setting up under /api/v1/setup: stills in memory, proposals, and taking one over.

Nothing here changes what holds but ``adopt`` and a lens that is kept. What takes longer than a
blink answers 202 with its work, which is then asked for until it is done or refused.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from calibration.lens.paper import PAPERS_MM
from calibration.seen.points import GivenPoint
from service.drawing.error_map import error_map_svg
from service.setup.lens.guided_board import board_pdf
from service.setup.setting_up import AskedPlace, SettingUp
from service.store import OVERHEAD
from service.words.lengths import Units

from .. import models as m
from ..bodies import calibration_body
from ..deps import CameraName, DeskDep, Document, ReaderDep, SourcesDep, TableNumber
from ..documents import DocumentRoute
from ..models import set_up as s
from ..set_up_bodies import board_body, lens_body, still_body, task_body
from ..upload import BODY_DOCUMENT, read_upload

router = APIRouter(prefix="/setup", route_class=DocumentRoute, tags=["set-up"])
_JPEG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/jpeg": {}, "image/png": {}}}}
_SVG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/svg+xml": {}}}}
_PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}}}
_LYING_PX, _UPRIGHT_PX = 960, 390
"""Nominal widths of drawings: what words are sized for."""
_NO_STORE = {"Cache-Control": "no-store"}


def _setting_up(request: Request) -> SettingUp:
    found = request.app.state.setting_up
    assert isinstance(found, SettingUp)
    return found


SetupDep = Annotated[SettingUp, Depends(_setting_up)]
Number = Annotated[str, Path(max_length=40, pattern=r"^[\w-]+$")]
UnitsAsked = Annotated[Units, Query(description="What lengths are said in.")]


# -- stills --------------------------------------------------------------------------------


@router.post(
    "/stills", status_code=201, response_model=s.SetupStillOut, openapi_extra=BODY_DOCUMENT
)
async def post_setup_still(
    request: Request,
    setup: SetupDep,
    name: Annotated[str, Query(max_length=1000, description="The still's name.")] = "",
) -> Any:
    """Hold a still in memory for the set-up; WebP too. Nothing is stored."""
    upload = await read_upload(request, name=name, key=None, settled=True)
    number, still = await setup.soon(setup.add_still, upload.data, upload.name)
    return still_body(number, still)


@router.post("/stills/host", status_code=201, response_model=s.SetupStillOut)
async def post_host_still(setup: SetupDep, sources: SourcesDep, asked: s.HostAsked) -> Any:
    """Take a still with a camera of the host, or the newest of a folder."""
    sources.check(asked.source)
    number, still = await setup.soon(setup.host_still, asked.source)
    return still_body(number, still)


@router.get("/stills/{number}", response_model=s.SetupStillOut)
def get_setup_still(number: Number, setup: SetupDep) -> Any:
    """One still of the set-up."""
    return still_body(number, setup.still(number))


@router.get("/stills/{number}/picture", response_class=Response, responses=_JPEG)
def get_setup_picture(number: Number, setup: SetupDep) -> Response:
    """The still, upright."""
    data, media_type = setup.still(number).shown()
    return Response(
        data, media_type=media_type, headers={"Cache-Control": "private, max-age=3600, immutable"}
    )


@router.post(
    "/stills/{number}/read",
    status_code=201,
    response_model=m.Arrival,
    response_model_exclude_unset=True,
)
async def read_setup_still(
    number: Number, setup: SetupDep, desk: DeskDep, reader: ReaderDep, table: TableNumber = 1
) -> Any:
    """Read a still of the set-up and keep it, as `POST /stills` does: to teach a ball set by."""
    upload = setup.upload(number, reader.table(table).id)
    body, _ = await desk.run(desk.take_still, upload, at=upload.table_id)
    return body


@router.get("/picture", response_class=Response, responses=_JPEG)
async def get_live_picture(
    setup: SetupDep,
    sources: SourcesDep,
    source: Annotated[str, Query(min_length=1, max_length=1000)],
) -> Response:
    """What a camera of the host sees now, or the newest still of a folder."""
    sources.check(source)
    data, media_type = await setup.soon(setup.live_picture, source)
    return Response(data, media_type=media_type, headers=_NO_STORE)


# -- calibration ---------------------------------------------------------------------------


@router.post("/calibrations", status_code=202, response_model=s.WorkOut)
def post_calibration(
    asked: s.CalibrationAsked, setup: SetupDep, response: Response, units: UnitsAsked = Units.MM
) -> Any:
    """Have a calibration worked out. The one that holds still holds."""
    told = asked.model_dump(exclude={"points"})
    points = [
        GivenPoint(name=each.name, seen_px=(each.u, each.v), sigma_px=each.sigma_px)
        for each in asked.points
    ]
    task = setup.begin_calibration(points=points, **told)
    response.headers["Location"] = f"/api/v1/setup/tasks/{task.number}"
    return task_body(task, units)


@router.get("/calibrations/{number}.json", response_model=None)
def get_proposed_calibration(number: Number, setup: SetupDep) -> dict[str, Any]:
    """The whole `table.json` of a calibration that was worked out."""
    return setup.proposal(number).calibration.to_dict()


@router.get("/calibrations/{number}/error-map.svg", response_class=Response, responses=_SVG)
def get_error_map(
    number: Number,
    setup: SetupDep,
    turn: Annotated[int, Query(ge=0, le=3, description="Quarter turns.")] = 0,
) -> Response:
    """Its stated error over the bed, against the noses all round."""
    proposal = setup.proposal(number)
    drawn = error_map_svg(
        proposal.calibration,
        blind_mm=proposal.blind.polygons_mm,
        hidden_mm=proposal.blind.hidden_mm,
        by_tape=False,
        turn=turn,
        width_px=_UPRIGHT_PX if turn % 2 else _LYING_PX,
    )
    return Response(drawn, media_type="image/svg+xml", headers=_NO_STORE)


@router.post("/calibrations/{number}/adopt", response_model=m.CalibrationOut)
async def adopt_calibration(
    number: Number,
    setup: SetupDep,
    desk: DeskDep,
    reader: ReaderDep,
    table: TableNumber = 1,
    camera: CameraName = OVERHEAD,
) -> dict[str, Any]:
    """Have that calibration hold from now on; a pending intent is withdrawn with the old one.

    Another camera than the first is calibrated on the table that the first one was.
    """
    document = setup.proposal(number).calibration.to_dict()
    at = reader.table(table).id
    return calibration_body(await desk.run(desk.set_calibration, document, at, camera, at=at))


@router.get("/tasks/{number}", response_model=s.WorkOut)
def get_work(number: Number, setup: SetupDep, units: UnitsAsked = Units.MM) -> Any:
    """Where a piece of work stands, and what came of it."""
    return task_body(setup.task(number), units)


# -- lens ----------------------------------------------------------------------------------


@router.get("/board.pdf", response_class=Response, responses=_PDF)
def get_board_pdf(
    paper: Annotated[str, Query(max_length=20, description=", ".join(PAPERS_MM))] = "A4",
) -> Response:
    """The lens board, true to scale: print it at 100 %."""
    return Response(
        board_pdf(paper),
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="lens-board-{paper}.pdf"'},
    )


@router.post("/boards", status_code=201, response_model=s.BoardOut)
def post_board(asked: s.BoardAsked, setup: SetupDep) -> Any:
    """Begin to show a printed lens board to the camera."""
    number, board = setup.begin_board(asked.paper, ruler_mm=asked.ruler_mm)
    return board_body(number, board)


@router.get("/boards/{number}", response_model=s.BoardOut)
def get_board(number: Number, setup: SetupDep) -> Any:
    """What was seen of it, which part of the picture is missing, and what to show next."""
    return board_body(number, setup.board(number))


@router.post("/boards/{number}/stills", status_code=202, response_model=s.WorkOut)
def post_board_still(number: Number, asked: s.StillAsked, setup: SetupDep) -> Any:
    """Have a still looked at for the board; its result is the board as it stands then."""
    return task_body(setup.begin_board_still(number, asked.still), Units.MM)


@router.post("/boards/{number}/lens", status_code=202, response_model=s.WorkOut)
def post_lens_of_board(number: Number, setup: SetupDep) -> Any:
    """Have the lens worked out of what the board showed, and kept."""
    return task_body(setup.begin_lens(number), Units.MM)


@router.get("/lenses", response_model=s.Lenses)
def list_lenses(setup: SetupDep) -> Any:
    """The kept lenses, the newest first."""
    return {"lenses": [lens_body(kept) for kept in setup.lenses.all()]}


@router.post("/lenses", status_code=201, response_model=s.LensOut)
async def post_lens(setup: SetupDep, document: Document) -> Any:
    """Keep a lens that `restmark lens` made: a whole `lens.json`."""
    return lens_body(await setup.soon(setup.add_lens, document))


@router.get("/lenses/{number}.json", response_model=None)
def get_lens(number: Number, setup: SetupDep) -> dict[str, Any]:
    """A kept lens as `restmark calibrate` takes it."""
    return setup.lenses.get(number).lens.to_dict()


# -- reach ---------------------------------------------------------------------------------


@router.post("/reach", status_code=202, response_model=s.WorkOut)
def post_reach(
    asked: s.ReachAsked,
    setup: SetupDep,
    reader: ReaderDep,
    units: UnitsAsked = Units.MM,
    table: TableNumber = 1,
) -> Any:
    """Have the reach worked out of places where the cue ball can just still be played.

    Nothing is set: `player` of the result is what `PUT /player` takes.
    """
    places = [AskedPlace(**each.model_dump()) for each in asked.places]
    return task_body(setup.begin_reach(reader, table, places, asked.handedness), units)
