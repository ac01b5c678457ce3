"""What was read again put in the place of what was read before; nothing is lost.

A reading's place is what its table, intents and attempts point to. What both readings found
changes places, so the older finding stands where the newer one stood and can come back.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

from service import clock
from service.desk.changing.correcting import judged_again
from service.store import Store

from .compare import pairs
from .refusals import FOLDER
from .wanted import Target

_AT_ONCE = 100


@dataclass(slots=True, kw_only=True)
class Adopted:
    """What took the place of what."""

    readings: int = 0
    left: int = 0
    """Stills whose names a person spoke of: they stay as they are."""
    attempts: int = 0
    """Attempts judged again."""
    not_judged: int = 0
    """Attempts that cannot be judged on what is read now: their verdict stays."""
    copy: str | None = None
    """The database as it was before; None: its server keeps none."""


def adopt(store: Store, target: Target) -> Adopted:
    """Put every reading made as ``target`` says into its still's first reading's place.

    Attempts are judged again by the settings that they were judged by. The store must be held:
    a service has in mind what its tables show. Stopped in the middle, the next call goes on.
    """
    out = Adopted()
    now = clock.now().strftime("%Y%m%dT%H%M%SZ")
    copy = store.data_dir / FOLDER / f"before-adopting-{now}.db"
    with store.reading() as reader:
        # numbers alone: layouts of an archive are more than fits
        todo: list[tuple[int, int]] = []
        for both in pairs(reader, target):
            if both.spoken:
                out.left += 1
            else:
                todo.append((both.old.id, both.new.id))
    if not todo:
        return out
    copy.parent.mkdir(mode=0o700, exist_ok=True)
    out.copy = str(copy) if store.write_copy(copy) else None
    judged: dict[int, bool] = {}
    rest = iter(todo)
    while some := list(islice(rest, _AT_ONCE)):
        with store.writing() as writer:
            for old, new in some:
                writer.exchange(old, new)
            for old, _ in some:
                for answer in judged_again(writer, old):
                    judged[answer["id"]] = answer["judged"]
        out.readings += len(some)
    out.attempts = sum(judged.values())
    out.not_judged = len(judged) - out.attempts
    return out
