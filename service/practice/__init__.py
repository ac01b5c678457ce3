"""From attempts to a practice session: pairing, scoring, statistics."""

from service.practice.statistics.progress import Played, Progress, progress
from service.practice.statistics.rates import wilson
from service.practice.statistics.summary import Summary, summarise

from .kinds import ShotKind, shot_kind
from .notes import Note, NoteError
from .pairing import LeftOut, Pair, Reading, pair_readings
from .plan import Plan
from .session import Attempt, SessionResult, score_session

__all__ = [
    "Attempt",
    "LeftOut",
    "Note",
    "NoteError",
    "Pair",
    "Plan",
    "Played",
    "Progress",
    "Reading",
    "SessionResult",
    "ShotKind",
    "Summary",
    "pair_readings",
    "progress",
    "score_session",
    "shot_kind",
    "summarise",
    "wilson",
]
