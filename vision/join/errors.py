"""Why layouts cannot be joined."""

from __future__ import annotations

from calibration.errors import RestmarkError


class JoinError(RestmarkError):
    """Views that are not of one table, or not of one moment."""

    code = "cannot-join"
