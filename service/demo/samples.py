"""Where the packaged sample stills lie: one rendered practice and twelve other rooms."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from calibration.errors import FileFormatError

BOARD_FOLDER = "practice/boards"
SHOTS_FOLDER = "practice/shots"
CLIP_FOLDER = "practice/clip"
OTHERS_FOLDER = "others"
EMPTY_STILL = "practice/empty.jpg"
PRACTICE_SURFACE = "9ft"
PRACTICE_HEAD = "left"


def sample_folder(part: str) -> Path:
    """A folder or file of the samples.

    Raises:
        FileFormatError: the install left them out.
    """
    place = files("sample_frames")
    for name in part.split("/"):
        place = place.joinpath(name)
    path = Path(str(place))
    if not path.exists():
        raise FileFormatError(
            f"{path}: missing; allowed: an install with its sample stills. Install the package "
            "again."
        )
    return path


def sample_stills(part: str) -> list[Path]:
    """The JPEG stills of one of the samples' folders, by name.

    Raises:
        FileFormatError: there are none.
    """
    stills = sorted(sample_folder(part).glob("*.jpg"))
    if not stills:
        raise FileFormatError(
            f"{sample_folder(part)}: holds no .jpg stills; allowed: the packaged samples. Install "
            "the package again."
        )
    return stills
