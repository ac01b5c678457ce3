"""What cannot be put on paper."""

from __future__ import annotations

from calibration.errors import RestmarkError


class SheetError(RestmarkError):
    """A drawing or a choice of paper that no page can be made of."""

    code = "bad-sheet"
