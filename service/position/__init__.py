"""Where the cue ball should stop, where it did, and what that cost: geometry in table mm."""

from .drawn import DrawnZone
from .errors import AttemptError, IntentError, PlayerError
from .intent import Intent
from .player import Player
from .verdict import Verdict, score_shot
from .zone import LandingZone, landing_zone

__all__ = [
    "AttemptError",
    "DrawnZone",
    "Intent",
    "IntentError",
    "LandingZone",
    "Player",
    "PlayerError",
    "Verdict",
    "landing_zone",
    "score_shot",
]
