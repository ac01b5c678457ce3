"""Where the cue ball should stop, where it did, and what that cost: geometry in table mm."""

from service.position.meant.drawn import DrawnZone
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.verdict.score import Verdict, score_shot
from service.position.zone.landing import LandingZone, landing_zone

from .errors import AttemptError, IntentError, PlayerError

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
