"""Live changes, and those that a listener missed."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Header, Query
from fastapi.sse import EventSourceResponse, ServerSentEvent

from ...deps import NUMBER_LIMIT, DeskDep

router = APIRouter()


@router.get("/events", response_class=EventSourceResponse, response_model=None, tags=["service"])
async def events(
    desk: DeskDep,
    table: Annotated[
        int | None,
        Query(ge=1, le=NUMBER_LIMIT, description="Only this table's changes, and those of none."),
    ] = None,
    after: Annotated[
        int | None,
        Query(ge=0, le=NUMBER_LIMIT, description="Last-Event-ID for whoever cannot set headers."),
    ] = None,
    last_event_id: Annotated[
        int | None,
        Header(ge=0, le=NUMBER_LIMIT, description="Go on behind the change of this number."),
    ] = None,
) -> AsyncIterator[ServerSentEvent]:
    """Live changes as server-sent events `change`; the first, `hello`, comes at once.

    The data says what `kind` of thing is new, at which table and when, and its numbers. An event
    is kept together with the change that it tells of: there is none of what was not kept, and
    none is lost. `intent` says that another intent waits for its shot (`intent_id`, null where
    none does), whoever gave it; the attempt that spent one says so itself. Every
    event has an id: whoever connects again with the last one as `Last-Event-ID`, as browsers do by
    themselves, gets what was missed, over a restart of the service too. The last 10,000 changes
    are kept; an event `gap` says that what came between is not.
    """
    number = after if last_event_id is None else last_event_id
    async for told in desk.live.listen(after=number, table_id=table):
        yield ServerSentEvent(data=told.data, event=told.name, id=str(told.number))
