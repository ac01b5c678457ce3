"""Plans that are kept to be played again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration import strict
from service.layouts.entry import TITLE_MOST
from service.position.errors import IntentError
from service.practice import Plan
from service.store import PlanRecord, Store

_KEYS = ("title", "plan")


@dataclass(frozen=True, slots=True)
class Plans:
    """Changes of the plans; each runs in the desk's turns."""

    store: Store

    def add(self, document: Mapping[str, Any]) -> PlanRecord:
        """Keep a plan.

        Raises:
            IntentError: it is missing, or cannot be played.
        """
        title, plan = _given(document)
        if plan is None:
            raise IntentError(
                "plan: missing; allowed: an object with shots, as in plan.json. Give it."
            )
        with self.store.writing() as writer:
            record = writer.add_plan(title or "Plan", plan)
            writer.tell("plan", plan_id=record.id)
        return record

    def change(self, number: int, document: Mapping[str, Any]) -> PlanRecord:
        """Another title or content; what is not given stays. NotFoundError without it."""
        title, plan = _given(document)
        with self.store.writing() as writer:
            record = writer.change_plan(number, title=title, document=plan)
            writer.tell("plan", plan_id=number)
        return record

    def strike(self, number: int, *, restore: bool = False) -> PlanRecord:
        """Listed no longer, or again. NotFoundError without it."""
        with self.store.writing() as writer:
            record = writer.strike_plan(number, restore=restore)
            writer.tell("plan", plan_id=number)
        return record


def _given(document: Mapping[str, Any]) -> tuple[str | None, dict[str, Any] | None]:
    """Title and plan, checked; None where not given."""
    row = strict.record(
        document, "plan", known=_KEYS, closed=True, error=IntentError, remedy="Correct it."
    )
    title, plan = row.get("title"), row.get("plan")
    if title is not None:
        plain = " ".join(title.split()) if isinstance(title, str) else ""
        if not 1 <= len(plain) <= TITLE_MOST:
            raise IntentError(
                f"plan.title: got {strict.shown(title)}; allowed: 1 to {TITLE_MOST} characters. "
                "Say what it is called."
            )
        title = plain
    return title, None if plan is None else Plan.from_dict(plan, path="plan").to_dict()
