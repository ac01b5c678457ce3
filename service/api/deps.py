"""What the routes are given: the desk, and a reader on the store."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import Body, Depends, Path, Query, Request

from service.called import Name
from service.desk.desk import Desk
from service.door import SourceRule
from service.store import Reader
from service.words.lengths import Units

from .models.shared import NUMBER_LIMIT


def _desk(request: Request) -> Desk:
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


DeskDep = Annotated[Desk, Depends(_desk)]


def _sources(request: Request) -> SourceRule:
    sources = request.app.state.sources
    assert isinstance(sources, SourceRule)
    return sources


SourcesDep = Annotated[SourceRule, Depends(_sources)]


def _reader(desk: DeskDep) -> Iterator[Reader]:
    with desk.store.reading() as reader:
        yield reader


ReaderDep = Annotated[Reader, Depends(_reader)]
Number = Annotated[int, Path(ge=1, le=NUMBER_LIMIT)]
Limit = Annotated[int, Query(ge=1, le=500, description="How many at most.")]
Before = Annotated[
    int | None, Query(ge=1, le=NUMBER_LIMIT, description="Only those numbered below this.")
]
Document = Annotated[dict[str, Any], Body()]


def check_there(
    reader: Reader,
    *,
    table: int | None = None,
    player: int | None = None,
    practice: int | None = None,
) -> None:
    """Refuse a filter's number that there is none of: nothing found would look like nothing done.

    Raises:
        NotFoundError: it names the kind and the list to look in.
    """
    if table is not None:
        reader.table(table)
    if player is not None:
        reader.player(player)
    if practice is not None:
        reader.practice(practice)


UnitsQuery = Annotated[Units, Query(description="What lengths are said in.")]
TableNumber = Annotated[
    int, Query(alias="table", ge=1, le=NUMBER_LIMIT, description="The table that is meant.")
]
CameraName = Annotated[Name, Query(alias="camera", description="The camera that is meant.")]
OnlyTable = Annotated[
    int | None, Query(ge=1, le=NUMBER_LIMIT, description="Only those at this table.")
]
OnlyPlayer = Annotated[
    int | None, Query(ge=1, le=NUMBER_LIMIT, description="Only those of this player.")
]
OnlyPractice = Annotated[
    int | None, Query(ge=1, le=NUMBER_LIMIT, description="Only those of this practice.")
]
