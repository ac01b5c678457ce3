"""Practices: begun, changed, finished, and told with their own score."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.strict import shown
from service.desk.refusals import no_skip
from service.desk.sums import columns_of
from service.position import IntentError
from service.practice.apart import apart_of
from service.store import PracticeRecord, Reader, Writer

from .pending import At
from .renewing import due_at, played_of, renew
from .turns import place_next, turns_taken
from .ways import PLAN, PracticeWay

SKIP = "skip"
"""The change by hand, as undoing knows it."""
_BEGUN = ("title", "way", "plan_id")
_CHANGED = ("title", "finished")
_TITLE_LIMIT = 200


def begin(writer: Writer, table_id: int, at: At | None, asked: Mapping[str, Any]) -> PracticeRecord:
    """A practice of whoever plays at the table; one that was open there is finished.

    ``at`` is the table as it lies, None before its calibration.

    Raises:
        IntentError: a field is unknown or wrong.
        NotFoundError: there is no plan of that number.
    """
    _check_known(asked, _BEGUN)
    plan_id = asked.get("plan_id")
    given = asked.get("way")
    if given is None:
        given = {"kind": PLAN if plan_id is not None else "free"}
    if plan_id is not None:
        given = _of_plan(writer, plan_id, given)
    way = PracticeWay.from_dict(given)
    finish_open(writer, table_id)
    record = writer.begin_practice(
        way.to_dict(), title=_title(asked.get("title")), plan_id=plan_id, table_id=table_id
    )
    if at is not None:
        renew(writer, at)
    return record


def change(writer: Writer, number: int, asked: Mapping[str, Any]) -> PracticeRecord:
    """Another title, or finished; what is finished stays so.

    Raises:
        IntentError: a field is unknown or wrong.
    """
    _check_known(asked, _CHANGED)
    record = writer.practice(number)
    finished = asked.get("finished")
    if finished not in (None, True) or (finished is not None and not isinstance(finished, bool)):
        raise IntentError(
            f"finished: got {shown(finished)}; allowed: true, which cannot be taken back. Begin "
            "another practice to go on."
        )
    if asked.get("title") is not None:
        record = writer.change_practice(number, title=_title(asked["title"]))
    if finished and record.finished_at is None:
        record = _finish(writer, record)
    return record


def skip(writer: Writer, number: int, place: int | None) -> PracticeRecord:
    """The next shot of a practice's plan is not to be played; ``place`` names it, to be sure.

    Raises:
        DeskError: it is not open, has no plan, is at its end, or another shot is next.
    """
    record = writer.practice(number)
    if record.finished_at is not None:
        raise no_skip("a practice that is finished")
    way = PracticeWay.from_dict(record.way)
    if way.kind != PLAN:
        raise no_skip(f"a practice of the way {way.kind!r}")
    skipped = tuple(record.skipped or ())
    due = place_next(way, [played_of(end) for end in writer.ends(number)], skipped)
    if due is None:
        raise no_skip("a plan that is at its end")
    if place is not None and place != due:
        raise no_skip(f"place {place}", due)
    writer.add_change(
        SKIP,
        table_id=record.table_id,
        before={"practice_id": number, "skipped": list(skipped)},
        after={"skipped": [*skipped, due]},
    )
    return writer.put_skipped(number, (*skipped, due))


def finish_open(writer: Writer, table_id: int) -> None:
    """The practice that is open at a table, if one is, ends."""
    record = writer.open_practice(table_id)
    if record is not None:
        _finish(writer, record)


def told(reader: Reader, record: PracticeRecord, at: At | None) -> dict[str, Any]:
    """A practice with its own score; what is next where it is open and ``at`` says what lies."""
    played = [played_of(end) for end in reader.ends(record.id)]
    way = PracticeWay.from_dict(record.way)
    tried = [each.tried for each in turns_taken(way, played)]
    due = None
    if at is not None and record.finished_at is None:
        due = due_at(reader, record, at).to_dict()
    return record.to_dict() | {
        "attempts": len(played),
        "report": way.report(tried, record.skipped or ()),
        "apart": apart_of(columns_of(reader, practice_id=record.id)).to_dict(),
        "next": due,
    }


def _finish(writer: Writer, record: PracticeRecord) -> PracticeRecord:
    """What its way had pending goes with it; a person's intent stays."""
    pending = writer.pending_intent(record.table_id)
    if pending is not None and pending.given_by == "way":
        writer.withdraw_intent(record.table_id)
    return writer.finish_practice(record.id)


def _of_plan(writer: Writer, plan_id: Any, way: Mapping[str, Any]) -> dict[str, Any]:
    """A way with the shots of a kept plan, and its settings where the way names none."""
    if not isinstance(plan_id, int) or isinstance(plan_id, bool):
        raise IntentError(f"plan_id: got {shown(plan_id)}; allowed: a plan's number. Correct it.")
    document = dict(writer.plan(plan_id).document)
    mode = document.pop("mode", "in order")
    kind = way.get("kind", PLAN)
    if kind == PLAN and mode != "in order":
        kind = mode
    return {**document, **dict(way), "kind": kind}


def _check_known(asked: Mapping[str, Any], known: tuple[str, ...]) -> None:
    unknown = sorted(set(asked) - set(known))
    if unknown:
        raise IntentError(
            f"{unknown[0]}: unknown; allowed: {', '.join(known)}. Remove it or correct its name."
        )


def _title(given: Any) -> str:
    if given is None:
        return ""
    if not isinstance(given, str) or len(given) > _TITLE_LIMIT:
        raise IntentError(
            f"title: got {shown(given)}; allowed: words, up to {_TITLE_LIMIT} letters. Correct it."
        )
    return given.strip()
