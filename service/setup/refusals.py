"""What setting up refuses; whoever asks, over HTTP or not, branches on the code."""

from __future__ import annotations

from calibration.errors import RestmarkError


class SetupError(RestmarkError):
    """What was asked of the set-up cannot be done as things stand."""

    code = "bad-setup"


def gone(what: str, number: str) -> SetupError:
    """What is said where something of the set-up is no longer in memory."""
    return SetupError(
        f"{what} {number[:40]!r}: is not here any more; allowed: one of this service's last ones, "
        "which are kept until it stops. Take it again.",
        code="setup-gone",
    )


def busy(waiting: int) -> SetupError:
    """What is said where too much waits already."""
    return SetupError(
        f"set-up: {waiting} pieces of work wait already; allowed: fewer. Wait until the last one "
        "is done and ask again.",
        code="setup-busy",
    )


def unfinished(number: str) -> SetupError:
    """What is said where a result is asked for that is not there."""
    return SetupError(
        f"set-up {number}: has no result; allowed: one that is done. Wait for it, or look at why "
        "it was refused.",
        code="setup-unfinished",
    )
