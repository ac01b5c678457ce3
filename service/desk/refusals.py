"""What the desk itself refuses; whoever asks, over HTTP or not, branches on the code."""

from __future__ import annotations

from calibration.errors import RestmarkError


class DeskError(RestmarkError):
    """What was asked cannot be done as things stand on the desk."""


def no_calibration() -> DeskError:
    """What is said where a calibration is needed and none was set."""
    return DeskError(
        "calibration: none is set; allowed: stills and intents once there is one. Make "
        "table.json with `restmark calibrate` and PUT it to /api/v1/calibration.",
        code="no-calibration",
    )


def no_layout() -> DeskError:
    """What is said to an intent that comes before any layout."""
    return DeskError(
        "intent: got one before any layout; allowed: an intent after a still of the "
        "clear table was read. Post that still first.",
        code="no-layout",
    )


def no_intent() -> DeskError:
    """What is said where a pending intent is asked for and there is none."""
    return DeskError(
        "intent: none is pending; allowed: one that waits for its shot. PUT one to "
        "/api/v1/intent after the still before the shot.",
        code="no-intent",
    )


def key_reused(key: str) -> DeskError:
    """What is said to another still under a key that was used."""
    return DeskError(
        f"Idempotency-Key: got {key!r}, which another still came with; allowed: "
        "the same still under the same name. Use a new key.",
        code="idempotency-key-reused",
    )


def later_correction(got: int, last: int) -> DeskError:
    """What is said where a correction is taken back that others stand on."""
    return DeskError(
        f"correction: got number {got}, and later ones stand on it; allowed: the last, "
        f"{last}. Take that one back first.",
        code="later-correction",
    )
