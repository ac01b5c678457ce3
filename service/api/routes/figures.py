"""What attempts add up to."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.desk.sums import progress_of, summary_of
from service.words.progress import progress_lines

from .. import models as m
from ..deps import ReaderDep, TableNumber
from ..documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute)


@router.get("/summary", response_model=m.SummaryOut, tags=["attempts"])
def get_summary(reader: ReaderDep, table: TableNumber = 1) -> dict[str, Any]:
    """What all attempts of the player at the table add up to, every rate with its interval."""
    return {"summary": summary_of(reader, player_id=reader.table(table).player_id).to_dict()}


@router.get("/progress", response_model=m.ProgressOut, tags=["attempts"])
def get_progress(
    reader: ReaderDep,
    same_shots: Annotated[
        bool, Query(description="Count only shots that were played in every session.")
    ] = False,
    table: TableNumber = 1,
    newest: Annotated[
        int, Query(ge=1, le=1000, description="So many sessions are told in full, the last ones.")
    ] = 100,
) -> dict[str, Any]:
    """Sessions over weeks, trends between them with their intervals, and what is still missing.

    Of the player at the table. A pause of three hours starts another session; all count, and
    `sessions_left_out` says how many are not told in full. `words` says the same in sentences.
    """
    player_id = reader.table(table).player_id
    found = progress_of(reader, same_shots=same_shots, player_id=player_id)
    return {"progress": found.to_dict(newest=newest), "words": progress_lines(found)}
