"""Everything as one archive, and attempts as lines."""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from service.listed import MEDIA_TYPE, attempt_lines
from service.moving import export_archive, take_in

from ... import models as m
from ...deps import DeskDep, OnlyPlayer, OnlyPractice, OnlyTable, check_there
from ...problems import ApiError

router = APIRouter()
ZIP = "application/zip"
_ZIP_TYPES = (ZIP, "application/octet-stream")
_BINARY = {"type": "string", "format": "binary"}
_ARCHIVE: dict[int | str, dict[str, Any]] = {200: {"content": {ZIP: {"schema": _BINARY}}}}
_CSV: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/csv": {"schema": {"type": "string"}}}}
}
_ARCHIVE_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "An archive of GET /api/v1/export or `restmark export`, of any store.",
        "content": {kind: {"schema": _BINARY} for kind in _ZIP_TYPES},
    }
}


@router.get("/export", response_class=StreamingResponse, responses=_ARCHIVE, tags=["everything"])
async def get_export(desk: DeskDep) -> StreamingResponse:
    """Everything that the service keeps, stills too, as one zip, as it is at this moment.

    It can be put away, or taken in by another store: `POST /api/v1/import`. The page Archives
    under /docs says what lies in it.
    """
    return await _streamed(
        export_archive(desk.store),
        media_type=ZIP,
        headers={"Content-Disposition": 'attachment; filename="restmark.zip"'},
    )


@router.post(
    "/import",
    response_model=m.Imported,
    openapi_extra=_ARCHIVE_BODY,
    tags=["everything"],
)
async def post_import(request: Request, desk: DeskDep) -> dict[str, Any]:
    """Take everything of an archive in, under new numbers; nothing of it is live.

    What the store has already stays as it is: the same archive twice changes nothing. A damaged
    archive is refused as a whole. Stills wait until it is done.
    """
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type not in _ZIP_TYPES:
        raise ApiError(
            f"Content-Type: got {media_type!r}; allowed: {', '.join(_ZIP_TYPES)}. Send the "
            "archive as one of those.",
            code="unsupported-media",
        )
    # a file without a name: nothing of it is left, however this ends
    with tempfile.TemporaryFile(dir=desk.store.data_dir) as file:
        async for chunk in request.stream():
            await run_in_threadpool(file.write, chunk)
        return (await desk.run(take_in, desk.store, file)).to_dict()


@router.get("/attempts.csv", response_class=StreamingResponse, responses=_CSV, tags=["attempts"])
async def get_attempts_csv(
    desk: DeskDep,
    player: OnlyPlayer = None,
    practice: OnlyPractice = None,
    table: OnlyTable = None,
    since: Annotated[
        datetime | None,
        Query(description="Only those played then or later; as in the statistics."),
    ] = None,
) -> StreamingResponse:
    """All attempts as CSV (RFC 4180), one a line in the order they were played, struck ones too.

    The page Archives under /docs lists the columns with their units.
    """

    def lines() -> Iterator[bytes]:
        with desk.store.reading() as reader:
            check_there(reader, table=table, player=player, practice=practice)
            rows = reader.attempt_rows(
                player_id=player, practice_id=practice, table_id=table, since=since
            )
            for some in _batches(attempt_lines(rows)):
                yield "".join(some).encode()

    return await _streamed(
        lines(),
        media_type=MEDIA_TYPE,
        headers={"Content-Disposition": 'attachment; filename="attempts.csv"'},
    )


async def _streamed(
    parts: Iterator[bytes], *, media_type: str, headers: dict[str, str]
) -> StreamingResponse:
    """The parts as they are made; what fails before the first is a refusal like any other."""
    first = await run_in_threadpool(next, parts, b"")
    whole: Iterable[bytes] = itertools.chain((first,), parts)
    return StreamingResponse(whole, media_type=media_type, headers=headers)


def _batches(lines: Iterator[str]) -> Iterator[list[str]]:
    while some := list(itertools.islice(lines, 500)):
        yield some
