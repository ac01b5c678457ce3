"""What the library of layouts refuses."""

from __future__ import annotations

from calibration.errors import RestmarkError


class LayoutError(RestmarkError):
    """A kept layout, lesson or copy that cannot be; the text names the field."""

    code = "bad-layout"
