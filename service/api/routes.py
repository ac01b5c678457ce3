"""The routes of /api/v1. Thin: each asks the store or hands its request to the desk."""

from __future__ import annotations

from collections.abc import AsyncIterator
from importlib.metadata import version
from typing import Annotated, Any

from fastapi import APIRouter, Body, Header, Query, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from service.desk.refusals import no_calibration, no_intent
from service.desk.scene import Scene
from service.desk.sums import progress_of, summary_of
from service.pages import scene_svg
from service.store import NotFoundError
from service.words.progress import progress_lines

from . import models as m
from .bodies import calibration_body, intent_body, page_body, player_body
from .deps import Before, DeskDep, Limit, Number, ReaderDep
from .documents import DocumentRoute
from .problems import KINDS
from .upload import BODY_DOCUMENT, read_upload

REFUSALS: dict[int | str, dict[str, Any]] = {
    "4XX": {
        "model": m.Problem,
        "description": "Refused; the body says why and what to do.",
        "content": {"application/problem+json": {}},
    }
}
router = APIRouter(prefix="/api/v1", responses=REFUSALS, route_class=DocumentRoute)
_BINARY: dict[int | str, dict[str, Any]] = {200: {"content": {"image/jpeg": {}, "image/png": {}}}}
_SVG: dict[int | str, dict[str, Any]] = {200: {"content": {"image/svg+xml": {}}}}
NAMES_DOCUMENT: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "properties": {
                        "names": {
                            "type": "array",
                            "minItems": 1,
                            "items": m.NameSaid.model_json_schema(),
                        }
                    },
                    "required": ["names"],
                }
            }
        },
    }
}
Document = Annotated[dict[str, Any], Body()]


@router.get("/health", response_model=m.Health, tags=["service"])
def health(reader: ReaderDep, desk: DeskDep) -> dict[str, Any]:
    """Whether the service is up, what it holds, and what was not whole when it started."""
    return {
        "status": "ok",
        "version": version("restmark"),
        "calibrated": reader.calibration() is not None,
        **reader.counts(),
        "damaged_stills": [still.id for still in desk.stills_check.damaged],
        "warnings": list(desk.stills_check.warnings),
    }


@router.get("/problems", response_model=list[m.ProblemKind], tags=["service"])
def problem_kinds() -> list[dict[str, Any]]:
    """Every kind of problem that this service answers with."""
    return [problem_kind(code) for code in KINDS]


@router.get("/problems/{code}", response_model=m.ProblemKind, tags=["service"])
def problem_kind(code: str) -> dict[str, Any]:
    """What a problem's `type` points to."""
    kind = KINDS.get(code)
    if kind is None:
        raise NotFoundError(
            f"problem: got {code!r}; allowed: one that /api/v1/problems lists. Look it up there."
        )
    return {"code": code, "title": kind.title, "status": kind.status, "meaning": kind.meaning}


@router.get("/events", response_class=EventSourceResponse, response_model=None, tags=["service"])
async def events(desk: DeskDep) -> AsyncIterator[ServerSentEvent]:
    """Live changes as server-sent events `change`; the first, `hello`, comes at once.

    The data says what `kind` of thing is new and its number. Nothing is replayed: whoever
    connects again looks at the newest reading.
    """
    async for change in desk.live.listen():
        yield ServerSentEvent(data=change.to_dict(), event="change", id=str(change.number))


# -- calibration ---------------------------------------------------------------------------


@router.get("/calibration", response_model=m.CalibrationOut, tags=["calibration"])
def get_calibration(reader: ReaderDep) -> dict[str, Any]:
    """The calibration that holds."""
    record = reader.calibration()
    if record is None:
        raise NotFoundError(no_calibration().detail)
    return calibration_body(record)


@router.put("/calibration", response_model=m.CalibrationOut, tags=["calibration"])
async def put_calibration(desk: DeskDep, document: Document) -> dict[str, Any]:
    """Set the calibration: a whole `table.json`. An intent that was pending is withdrawn."""
    return calibration_body(await desk.run(desk.set_calibration, document))


# -- the player ----------------------------------------------------------------------------


@router.get("/player", response_model=m.PlayerOut, tags=["player"])
def get_player(reader: ReaderDep) -> dict[str, Any]:
    """The player's settings that hold: hand, reach and spreads."""
    return player_body(reader.player())


@router.put("/player", response_model=m.PlayerOut, tags=["player"])
async def put_player(desk: DeskDep, document: Document) -> dict[str, Any]:
    """Set the player: a whole `player.json`. What it leaves out stays at its starting value.

    It holds for zones and attempts from now on; attempts made before keep their own settings.
    """
    return player_body(await desk.run(desk.set_player, document))


# -- stills and readings -------------------------------------------------------------------


@router.post(
    "/stills",
    status_code=201,
    response_model=m.Arrival,
    response_model_exclude_unset=True,
    openapi_extra=BODY_DOCUMENT,
    tags=["stills"],
)
async def post_still(
    request: Request,
    response: Response,
    desk: DeskDep,
    name: Annotated[str, Query(max_length=1000, description="The still's name.")] = "",
    settled: Annotated[
        bool,
        Query(description="False while balls roll: the still is read but never scored."),
    ] = True,
    idempotency_key: Annotated[
        str | None,
        Header(description="The same still under the same key is taken once only."),
    ] = None,
) -> Any:
    """Read a still. Where an intent is pending, the still ends the attempt.

    An obstructed or unsettled still is read but not compared: `comparison` says so and the
    intent goes on holding.
    """
    upload = await read_upload(request, name=name, key=idempotency_key, settled=settled)
    body, is_replay = await desk.run(desk.take_still, upload)
    response.headers["Location"] = f"/api/v1/readings/{body['reading']['id']}"
    if is_replay:
        response.headers["Idempotency-Replayed"] = "true"
    return body


@router.get("/stills", response_model=m.Stills, tags=["stills"])
def list_stills(reader: ReaderDep, limit: Limit = 100, before: Before = None) -> dict[str, Any]:
    """Stills, newest first."""
    return page_body("stills", reader.stills(limit=limit, before=before), limit)


@router.get("/stills/{number}", response_model=m.StillOut, tags=["stills"])
def get_still(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One still's name, time and size."""
    return reader.still(number).to_dict()


@router.get("/stills/{number}/picture", response_class=Response, responses=_BINARY, tags=["stills"])
def get_picture(number: Number, reader: ReaderDep, desk: DeskDep) -> Response:
    """The still itself, byte for byte."""
    still = reader.still(number)
    return Response(
        desk.store.files.read(still.sha256),
        media_type=still.media_type,
        headers={
            "Cache-Control": "private, max-age=31536000, immutable",
            "ETag": f'"{still.sha256}"',
        },
    )


@router.get(
    "/readings",
    response_model=m.Readings,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def list_readings(reader: ReaderDep, limit: Limit = 100, before: Before = None) -> dict[str, Any]:
    """Readings, newest first."""
    return page_body("readings", reader.readings(limit=limit, before=before), limit)


@router.get(
    "/readings/latest",
    response_model=m.ReadingOut,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def get_latest_reading(reader: ReaderDep) -> dict[str, Any]:
    """The newest reading."""
    reading = reader.latest_reading()
    if reading is None:
        raise NotFoundError(
            "reading: there is none yet; allowed: one after the first still. POST a still to "
            "/api/v1/stills."
        )
    return reading.to_dict()


@router.get(
    "/readings/{number}",
    response_model=m.ReadingOut,
    response_model_exclude_unset=True,
    tags=["readings"],
)
def get_reading(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One reading."""
    return reader.reading(number).to_dict()


@router.post(
    "/readings/{number}/names",
    response_model=m.Corrected,
    response_model_exclude_unset=True,
    openapi_extra=NAMES_DOCUMENT,
    tags=["readings"],
)
async def post_names(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Say which ball is which: `{"names": [{"id": "3", "x_mm": 812, "y_mm": 440}]}`.

    A place means the ball within 30 mm of it; a ball that loses its name to another gets that
    one's old name and is in doubt; `id` null leaves a name in doubt. Attempts of the reading are
    judged again, and all sure names of its still teach this table's ball set: later stills are
    read with it, and `learned` says whether that could be done.
    """
    return await desk.run(desk.correct_names, number, document)


@router.get("/readings/{number}/names", response_model=m.Corrections, tags=["readings"])
def list_names(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """What was said of a reading's names, oldest first."""
    reader.reading(number)
    return {"corrections": [each.to_dict() for each in reader.corrections(number)]}


@router.delete(
    "/readings/{number}/names/{correction}",
    response_model=m.TakenBack,
    response_model_exclude_unset=True,
    tags=["readings"],
)
async def delete_names(number: Number, correction: Number, desk: DeskDep) -> dict[str, Any]:
    """Take the last of those corrections back.

    The reading is as it was before it, its attempts are judged again, and the ball set forgets
    what it learned from it.
    """
    return await desk.run(desk.take_names_back, number, correction)


@router.get("/set", response_model=m.KnownSetOut, tags=["readings"])
async def get_set(desk: DeskDep) -> dict[str, Any]:
    """How well this table's ball set is known, ball by ball, and from which readings."""
    return (await desk.known_set()).to_dict()


@router.get(
    "/readings/{number}/top-view.svg", response_class=Response, responses=_SVG, tags=["readings"]
)
def get_top_view(number: Number, reader: ReaderDep) -> Response:
    """The layout from above, with the zone or the verdict that goes with it."""
    drawn = scene_svg(Scene.of(reader, reader.reading(number)))
    return Response(drawn, media_type="image/svg+xml")


# -- intent and attempts -------------------------------------------------------------------


@router.get("/intent", response_model=m.IntentOut, tags=["attempts"])
def get_intent(reader: ReaderDep) -> dict[str, Any]:
    """The intent that waits for its shot, with its landing zone."""
    intent = reader.pending_intent()
    if intent is None:
        raise no_intent()
    return intent_body(reader, intent)


@router.put("/intent", response_model=m.IntentOut, tags=["attempts"])
async def put_intent(desk: DeskDep, document: Document) -> dict[str, Any]:
    """Say what the next shot is to do, from the newest layout. The next still ends it."""
    record = await desk.run(desk.set_intent, document)

    def answer() -> dict[str, Any]:
        with desk.store.reading() as reader:
            return intent_body(reader, record)

    return await desk.run(answer)


@router.delete("/intent", status_code=204, tags=["attempts"])
async def delete_intent(desk: DeskDep) -> None:
    """Withdraw the pending intent."""
    await desk.run(desk.withdraw_intent)


@router.get("/attempts", response_model=m.Attempts, tags=["attempts"])
def list_attempts(reader: ReaderDep, limit: Limit = 100, before: Before = None) -> dict[str, Any]:
    """Attempts, newest first."""
    return page_body("attempts", reader.attempts(limit=limit, before=before), limit)


@router.get("/attempts/{number}", response_model=m.AttemptOut, tags=["attempts"])
def get_attempt(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One attempt with its verdict."""
    return reader.attempt(number).to_dict()


@router.put("/attempts/{number}/note", response_model=m.AttemptOut, tags=["attempts"])
async def put_note(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Note what no still shows: `spin` (follow, stun, draw), `side_spin` (none, left, right), \
    `rails`, and `in_a_row` where the attempt belonged to a set. It replaces an earlier note."""
    return (await desk.run(desk.set_note, number, document)).to_dict()


@router.get("/summary", response_model=m.SummaryOut, tags=["attempts"])
def get_summary(reader: ReaderDep) -> dict[str, Any]:
    """What all attempts add up to, every rate with its interval."""
    return {"summary": summary_of(reader.scores()).to_dict()}


@router.get("/progress", response_model=m.ProgressOut, tags=["attempts"])
def get_progress(
    reader: ReaderDep,
    same_shots: Annotated[
        bool, Query(description="Count only shots that were played in every session.")
    ] = False,
) -> dict[str, Any]:
    """Sessions over weeks, trends between them with their intervals, and what is still missing.

    A pause of three hours starts another session. `words` says the same in sentences.
    """
    found = progress_of(reader.scores(), same_shots=same_shots)
    return {"progress": found.to_dict(), "words": progress_lines(found)}
