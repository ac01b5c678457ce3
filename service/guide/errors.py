"""What the set-up guide refuses."""

from __future__ import annotations

from calibration.errors import RestmarkError


class GuideError(RestmarkError):
    """A layout or tolerance by which no balls can be set up."""

    code = "bad-guide"
