"""What is kept to be laid and played again, and the set-up guide.

In: nothing. Out: models, as in the room above.
"""

from .guide import GuideGiven, GuideOut, MoveOut, StateOut, Toward
from .kept import (
    LayoutGiven,
    LayoutKept,
    LayoutsKept,
    LayoutWords,
    PlanGiven,
    PlanKept,
    PlansKept,
)

__all__ = [
    "GuideGiven",
    "GuideOut",
    "LayoutGiven",
    "LayoutKept",
    "LayoutWords",
    "LayoutsKept",
    "MoveOut",
    "PlanGiven",
    "PlanKept",
    "PlansKept",
    "StateOut",
    "Toward",
]
