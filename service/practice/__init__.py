"""From readings to a practice session: what happened, what was meant, scoring, statistics.

In: readings in order (or paired by name), a plan or another way to practise. Out: attempts, what
else happened between stills, and the summary. Nothing is stored here.
"""

from service.practice.statistics.progress import Played, Progress, progress
from service.practice.statistics.rates import wilson
from service.practice.statistics.summary import Summary, summarise

from .attempt import Attempt, Transition
from .between.decide import what_happened
from .between.outcome import Outcome
from .between.repeats import Earlier
from .between.seen import Seen
from .between.sequence import Telling
from .kinds import ShotKind, shot_kind
from .notes import Note, NoteError
from .pairing import LeftOut, Pair, Reading, chain_readings, pair_readings
from .plan import Plan
from .sequence import SequenceScorer
from .session import SessionResult, score_session

__all__ = [
    "Attempt",
    "Earlier",
    "LeftOut",
    "Note",
    "NoteError",
    "Outcome",
    "Pair",
    "Plan",
    "Played",
    "Progress",
    "Reading",
    "Seen",
    "SequenceScorer",
    "SessionResult",
    "ShotKind",
    "Summary",
    "Telling",
    "Transition",
    "chain_readings",
    "pair_readings",
    "progress",
    "score_session",
    "shot_kind",
    "summarise",
    "what_happened",
    "wilson",
]
