"""What the routes are given: the desk, and a reader on the store."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from fastapi import Depends, Path, Query, Request

from service.desk.desk import Desk
from service.store import Reader

NUMBER_LIMIT = 2**53
"""Row numbers stay below what every JSON reader holds exactly."""


def _desk(request: Request) -> Desk:
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


DeskDep = Annotated[Desk, Depends(_desk)]


def _reader(desk: DeskDep) -> Iterator[Reader]:
    with desk.store.reading() as reader:
        yield reader


ReaderDep = Annotated[Reader, Depends(_reader)]
Number = Annotated[int, Path(ge=1, le=NUMBER_LIMIT)]
Limit = Annotated[int, Query(ge=1, le=500, description="How many at most.")]
Before = Annotated[
    int | None, Query(ge=1, le=NUMBER_LIMIT, description="Only those numbered below this.")
]
