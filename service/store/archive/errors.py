"""What is refused about an archive."""

from __future__ import annotations

from calibration.errors import RestmarkError

MADE_BY = "an archive of `restmark export`, whole"


class ArchiveError(RestmarkError):
    """The archive cannot be taken in; nothing of it was.

    Codes: ``bad-archive`` (damaged, or no archive of ours), ``newer-archive`` (of a release newer
    than this one), ``archive-too-large`` (more inside than such a file can hold).
    """

    code = "bad-archive"


def damaged(where: str, got: str, allowed: str = MADE_BY) -> ArchiveError:
    """What is said of a part that is not what it should be."""
    return ArchiveError(
        f"{where}: got {got}; allowed: {allowed}. Export it again, or use another copy.",
        fields={"where": where},
    )
