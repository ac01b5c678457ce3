"""From attempts to a practice session: pairing, scoring, statistics."""

from .pairing import LeftOut, Pair, Reading, pair_readings
from .plan import Plan
from .session import Attempt, SessionResult, score_session
from .statistics import Summary, summarise, wilson

__all__ = [
    "Attempt",
    "LeftOut",
    "Pair",
    "Plan",
    "Reading",
    "SessionResult",
    "Summary",
    "pair_readings",
    "score_session",
    "summarise",
    "wilson",
]
