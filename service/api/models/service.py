"""Problems and health."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from .live.watch import WatchAt
from .shared import Open


class FieldError(BaseModel):
    """One part of a request that is wrong."""

    field: str
    detail: str


class Problem(Open):
    """Problem details of RFC 9457."""

    type: Annotated[str, Field(description="Address of a page that says what this kind means.")]
    title: str
    status: int
    detail: Annotated[str, Field(description="What was given, what is allowed, what to do.")]
    instance: Annotated[str, Field(description="Path of the request.")]
    code: Annotated[str, Field(description="Stable name of the kind, for programs.")]
    fields: Annotated[
        dict[str, Any] | None,
        Field(description="What the detail was made of, where a program may want it."),
    ] = None
    request_id: Annotated[
        str | None,
        Field(description="Id of the request, as in the header X-Request-ID; the log has it too."),
    ] = None
    errors: Annotated[
        list[FieldError] | None, Field(description="Each parameter or field that is wrong.")
    ] = None


class ProblemKind(BaseModel):
    """A kind of problem that this service can answer with."""

    code: str
    title: str
    status: int
    meaning: str


class DatabaseHealth(BaseModel):
    """How whole the database is."""

    state: Annotated[
        Literal["whole", "being looked over", "damaged", "not looked over"],
        Field(description="As it was looked over last: at the start, and once a day since."),
    ]
    looked_at: Annotated[datetime | None, Field(description="When that was.")] = None
    took_s: Annotated[float | None, Field(description="How long it took.")] = None
    copies: Annotated[
        list[date],
        Field(description="Days of the copies in copies/, newest first; none with PostgreSQL."),
    ] = []


class TableState(BaseModel):
    """Whether stills of a table can be read."""

    table_id: int
    calibrated: bool


class Health(BaseModel):
    """Whether the service is up, and what it holds."""

    status: Annotated[
        Literal["ok", "damaged"],
        Field(description="damaged: the database is, and nothing is stored until it is restored."),
    ]
    version: str
    calibrated: Annotated[bool, Field(description="Table 1; `tables` says it of each.")]
    tables: Annotated[list[TableState], Field(description="Every table.")] = []
    stills: int
    readings: int
    attempts: int
    damaged_stills: Annotated[
        list[int],
        Field(description="Stills whose file was gone or damaged when it was looked at."),
    ] = []
    warnings: Annotated[list[str], Field(description="What to do about it.")] = []
    database: DatabaseHealth
    disk_free_bytes: Annotated[int, Field(description="Room left where the data folder lies.")]
    watches: Annotated[
        list[WatchAt], Field(description="What is or was watched since the start, by table.")
    ] = []
