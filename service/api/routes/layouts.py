"""The library of layouts, their files, and lessons made of them."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, Response
from fastapi.concurrency import run_in_threadpool

from service.desk.desk import Desk
from service.desk.laying.library import Library, copy_of, kept_of
from service.desk.stored import player_now
from service.layouts.errors import LayoutError
from service.layouts.files import layout_json, layout_svg, read_layout
from service.layouts.lesson import PARTS_MOST, Lesson
from service.sheets.layout_sheet import layout_pdf
from service.sheets.lesson_sheet import lesson_html, lesson_pdf
from service.sheets.picture import LEAST_PX, MOST_PX, layout_png
from service.words.lengths import Units

from .. import models as m
from ..deps import NUMBER_LIMIT, Before, DeskDep, Document, Limit, Number, ReaderDep, TableNumber
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)
Mirror = Annotated[
    Literal["across", "along"] | None,
    Query(description="across: left and right change places; along: head and foot."),
]
Turn = Annotated[int, Query(ge=0, le=180, multiple_of=180, description="Degrees: 0 or 180.")]
UnitsQuery = Annotated[Units, Query(description="What lengths are shown in.")]


def _given(model: type[Any]) -> dict[str, Any]:
    return {"requestBody": {"content": {"application/json": {"schema": model.model_json_schema()}}}}


def _file(media_type: str) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {media_type: {}}}}


def _library(desk: Desk) -> Library:
    return Library(desk.store)


@router.get("/layouts", response_model=m.LayoutsKept, tags=["layouts"])
def list_layouts(
    reader: ReaderDep,
    limit: Limit = 100,
    before: Before = None,
    q: Annotated[
        str | None, Query(max_length=200, description="Words in title, note or a tag.")
    ] = None,
    tag: Annotated[
        str | None, Query(max_length=100, description="Only those with this tag.")
    ] = None,
    struck: Annotated[bool, Query(description="Those that were struck instead.")] = False,
) -> dict[str, Any]:
    """Layouts of the library, newest first."""
    found = reader.layouts(limit=limit, before=before, words=q, tag=tag, struck=struck)
    more = len(found) == limit and found[-1].id > 1
    return {
        "layouts": [record.to_dict() for record in found],
        "tags": reader.tags(),
        "next_before": found[-1].id if more else None,
    }


@router.post(
    "/layouts",
    status_code=201,
    response_model=m.LayoutKept,
    openapi_extra=_given(m.LayoutGiven),
    tags=["layouts"],
)
async def post_layout(
    desk: DeskDep, response: Response, document: Document, table: TableNumber = 1
) -> dict[str, Any]:
    """Record a layout: the table as it lies, a reading's, or the one given."""
    record = await desk.run(_library(desk).record, document, table, at=table)
    response.headers["Location"] = f"/api/v1/layouts/{record.id}"
    return record.to_dict()


@router.post(
    "/layouts/import",
    status_code=201,
    response_model=m.LayoutKept,
    openapi_extra={
        "requestBody": {
            "required": True,
            "description": "A file of the library: JSON, or an SVG, PNG or PDF that it wrote of "
            "one layout.",
            "content": {
                "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
                "application/json": {"schema": {"type": "string"}},
                "application/pdf": {"schema": {"type": "string", "format": "binary"}},
                "image/png": {"schema": {"type": "string", "format": "binary"}},
                "image/svg+xml": {"schema": {"type": "string"}},
            },
        }
    },
    tags=["layouts"],
)
async def import_layout(
    request: Request,
    response: Response,
    desk: DeskDep,
    name: Annotated[str, Query(max_length=200, description="The file's name.")] = "layout",
) -> dict[str, Any]:
    """Keep the layout in a file; what else the file shows is not looked at."""
    # a sheet takes a moment to be opened: the table's stills need not wait for it
    kept = await run_in_threadpool(read_layout, await request.body(), name=name)
    record = await desk.run(_library(desk).keep, kept)
    response.headers["Location"] = f"/api/v1/layouts/{record.id}"
    return record.to_dict()


# -- files -----------------------------------------------------------------------------------


@router.get(
    "/layouts/{number}.svg", response_class=Response, responses=_file("image/svg+xml"),
    tags=["layouts"],
)  # fmt: skip
def get_layout_svg(
    number: Number, reader: ReaderDep, mirror: Mirror = None, turn: Turn = 0,
    units: UnitsQuery = Units.MM,
) -> Response:  # fmt: skip
    """The drawing with the landing zone of its shot; the layout itself lies inside."""
    kept = copy_of(reader.layout(number), mirror=mirror, turn=turn)
    return Response(
        layout_svg(kept, player=player_now(reader), units=units), media_type="image/svg+xml"
    )


@router.get(
    "/layouts/{number}.png", response_class=Response, responses=_file("image/png"),
    tags=["layouts"],
)  # fmt: skip
def get_layout_png(
    number: Number, reader: ReaderDep, mirror: Mirror = None, turn: Turn = 0,
    units: UnitsQuery = Units.MM,
    width: Annotated[int, Query(ge=LEAST_PX, le=MOST_PX, description="Pixels.")] = 1920,
) -> Response:  # fmt: skip
    """The same as a picture; the layout itself lies inside."""
    kept = copy_of(reader.layout(number), mirror=mirror, turn=turn)
    data = layout_png(kept, player=player_now(reader), units=units, width_px=width)
    return Response(data, media_type="image/png")


@router.get(
    "/layouts/{number}.pdf", response_class=Response, responses=_file("application/pdf"),
    tags=["layouts"],
)  # fmt: skip
def get_layout_pdf(
    number: Number, reader: ReaderDep, mirror: Mirror = None, turn: Turn = 0,
    units: UnitsQuery = Units.MM,
    tiles: Annotated[bool, Query(description="With sheets 1:1 for paper markers.")] = False,
) -> Response:  # fmt: skip
    """A sheet: the drawing with diamonds, each ball's place from two rails; the layout attached."""
    kept = copy_of(reader.layout(number), mirror=mirror, turn=turn)
    data = layout_pdf(kept, tiles=tiles, player=player_now(reader), units=units)
    return _named(data, "application/pdf", f"{kept.title}.pdf")


@router.get(
    "/layouts/{number}.json", response_class=Response, responses=_file("application/json"),
    tags=["layouts"],
)  # fmt: skip
def get_layout_json(
    number: Number, reader: ReaderDep, mirror: Mirror = None, turn: Turn = 0
) -> Response:
    """The layout as `restmark read --json` prints it, with title, note, tags and shot beside."""
    kept = copy_of(reader.layout(number), mirror=mirror, turn=turn)
    return _named(layout_json(kept), "application/json", f"{kept.title}.json")


# -- one layout ------------------------------------------------------------------------------


@router.get("/layouts/{number}", response_model=m.LayoutKept, tags=["layouts"])
def get_layout(number: Number, reader: ReaderDep) -> dict[str, Any]:
    """One layout of the library."""
    return reader.layout(number).to_dict()


@router.patch(
    "/layouts/{number}",
    response_model=m.LayoutKept,
    openapi_extra=_given(m.LayoutWords),
    tags=["layouts"],
)
async def patch_layout(number: Number, desk: DeskDep, document: Document) -> dict[str, Any]:
    """Give it other words, tags or another shot."""
    return (await desk.run(_library(desk).change, number, document)).to_dict()


@router.post("/layouts/{number}/strike", response_model=m.LayoutKept, tags=["layouts"])
async def strike_layout(number: Number, desk: DeskDep) -> dict[str, Any]:
    """List it no longer. It can be restored."""
    return (await desk.run(_library(desk).strike, number)).to_dict()


@router.post("/layouts/{number}/restore", response_model=m.LayoutKept, tags=["layouts"])
async def restore_layout(number: Number, desk: DeskDep) -> dict[str, Any]:
    """List it again."""
    library = _library(desk)
    return (await desk.run(lambda: library.strike(number, restore=True))).to_dict()


# -- lessons ---------------------------------------------------------------------------------

Chosen = Annotated[
    str,
    Query(
        pattern=r"^\d{1,15}(,\d{1,15})*$",
        max_length=400,
        description=f"Numbers of up to {PARTS_MOST} layouts, with commas, in their order.",
    ),
]
Title = Annotated[str, Query(min_length=1, max_length=120)]
Words = Annotated[str, Query(max_length=4000)]


@router.get(
    "/lessons.html", response_class=Response, responses=_file("text/html"), tags=["layouts"]
)
def get_lesson_page(
    reader: ReaderDep, layouts: Chosen, title: Title = "Lesson", note: Words = "",
    units: UnitsQuery = Units.MM,
) -> Response:  # fmt: skip
    """Several layouts with their zones and notes as one HTML file that can be passed on."""
    page = lesson_html(
        _lesson(reader, layouts, title, note), player=player_now(reader), units=units
    )
    return _named(page.encode(), "text/html", f"{title}.html", shown=False)


@router.get(
    "/lessons.pdf", response_class=Response, responses=_file("application/pdf"), tags=["layouts"]
)
def get_lesson_sheet(
    reader: ReaderDep, layouts: Chosen, title: Title = "Lesson", note: Words = "",
    units: UnitsQuery = Units.MM,
) -> Response:  # fmt: skip
    """The same on paper, a page a layout."""
    data = lesson_pdf(_lesson(reader, layouts, title, note), player=player_now(reader), units=units)
    return _named(data, "application/pdf", f"{title}.pdf")


def _lesson(reader: ReaderDep, layouts: str, title: str, note: str) -> Lesson:
    numbers = [int(part) for part in layouts.split(",")]
    if len(numbers) > PARTS_MOST or not all(0 < n <= NUMBER_LIMIT for n in numbers):
        raise LayoutError(
            f"layouts: got {len(numbers)} numbers; allowed: 1 to {PARTS_MOST} of the library's. "
            "Choose some."
        )
    parts = tuple(kept_of(reader.layout(number)) for number in numbers)
    return Lesson(title=title, note=note, parts=parts)


def _named(data: bytes, media_type: str, name: str, *, shown: bool = True) -> Response:
    """A file that a browser shows or only saves, under a name of any script.

    A lesson brings its style inside, which the content policy of this service would not show.
    """
    how = "inline" if shown else "attachment"
    return Response(
        data,
        media_type=media_type,
        headers={"Content-Disposition": f"{how}; filename*=UTF-8''{quote(name, safe='')}"},
    )
