"""What the comparison of a stop with an intent can refuse."""

from __future__ import annotations

from calibration.errors import RestmarkError


class IntentError(RestmarkError):
    """An intent that contradicts itself or the layout; the text starts with the field's path."""

    code = "bad-intent"


class AttemptError(RestmarkError):
    """Two layouts that cannot be compared: obstructed, unsettled or of another surface."""

    code = "bad-attempt"


class PlayerError(RestmarkError):
    """Player settings that cannot be; the text names the field."""

    code = "bad-player"
