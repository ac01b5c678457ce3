"""What stops reading an archive again."""

from __future__ import annotations

from calibration.errors import RestmarkError


class RereadError(RestmarkError):
    """The archive cannot be read again as asked; what was kept before stays kept."""

    code = "reread-refused"


def no_extra(missing: str) -> RereadError:
    """A library of the extra is not installed."""
    return RereadError(
        f"{missing}: not installed; allowed: an environment with the extra `scale`. Install it: "
        "pip install 'restmark[scale]', in a checkout pip install '.[scale]'.",
        code="no-extra",
    )
