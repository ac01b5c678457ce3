"""Where the cue ball should stop, where it did, and what that cost: geometry in table mm.

In: two layouts, an intent and a player. Out: `LandingZone` before the shot, `Verdict` after it.
Knows no pictures, no store and no words.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .errors import AttemptError as AttemptError
    from .errors import IntentError as IntentError
    from .errors import PlayerError as PlayerError
    from .meant.drawn import DrawnZone as DrawnZone
    from .meant.intent import Intent as Intent
    from .meant.player import Player as Player
    from .verdict.score import Verdict as Verdict
    from .verdict.score import score_shot as score_shot
    from .zone.landing import LandingZone as LandingZone
    from .zone.landing import landing_zone as landing_zone
else:
    from calibration.exports import on_demand

    _HOMES = {
        "AttemptError": "errors",
        "DrawnZone": "meant.drawn",
        "Intent": "meant.intent",
        "IntentError": "errors",
        "LandingZone": "zone.landing",
        "Player": "meant.player",
        "PlayerError": "errors",
        "Verdict": "verdict.score",
        "landing_zone": "zone.landing",
        "score_shot": "verdict.score",
    }
    __all__ = list(_HOMES)
    __getattr__ = on_demand(__name__, _HOMES)
