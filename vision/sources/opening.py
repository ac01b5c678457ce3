"""The source that a person names: a camera's number or address, a video file, a folder."""

from __future__ import annotations

from pathlib import Path

from .camera import Camera, shown_address
from .folder import WatchedFolder
from .frame import Source, SourceError, Tell, untold
from .video import VIDEO_SUFFIXES, VideoFile

ADDRESSES = ("rtsp", "rtsps", "http", "https")
"""How a network camera's address may begin, before ``://``."""
_DIGITS = 4
"""Of a camera's number; no system has more cameras."""


def ends_by_itself(named: str) -> bool:
    """Whether a source of that name comes to an end: a video does, cameras and folders do not."""
    path = Path(named)
    return "://" not in named and path.suffix.lower() in VIDEO_SUFFIXES and not path.is_dir()


def open_source(
    named: str,
    *,
    size_px: tuple[int, int] | None = None,
    tell: Tell = untold,
    only_new: bool = False,
) -> Source:
    """The source of that name; nothing is opened before its frames are asked for.

    ``size_px`` is the calibration's picture size, which a USB camera is asked for; ``tell`` takes
    sentences for the person at the table; ``only_new`` passes over the stills that a folder
    holds already.

    Raises:
        SourceError: the name is none of these, or an address of another kind.
    """
    if named.isdecimal() and len(named) <= _DIGITS:
        return Camera(int(named), size_px=size_px, tell=tell)
    if "://" in named:
        check_address(named)
        return Camera(named, tell=tell)
    path = Path(named)
    if path.is_dir():
        return WatchedFolder(path, only_new=only_new, tell=tell)
    if path.suffix.lower() in VIDEO_SUFFIXES:
        return VideoFile(path)
    if path.exists() and path.is_char_device():
        return Camera(named, tell=tell)
    raise SourceError(
        f"{named}: is no source of pictures; allowed: a camera's number (0 is the first), a "
        f"network camera's address (rtsp://…), a video file ({', '.join(VIDEO_SUFFIXES)}) or a "
        "folder in which stills arrive. Check the name."
    )


def check_address(named: str) -> None:
    """Let an address through that a network camera may have.

    Any other would have the library open files, or listen, where nobody meant it to.

    Raises:
        SourceError: it begins otherwise; ``fields["allowed"]`` lists how it may.
    """
    kind, _, rest = named.partition("://")
    if kind.lower() in ADDRESSES and rest:
        return
    allowed = ", ".join(f"{each}://" for each in ADDRESSES)
    raise SourceError(
        f"{shown_address(named)}: is no address of a network camera; allowed: one that begins with "
        f"{allowed}. A video file or a folder is named by its path, a camera here by its number.",
        fields={"allowed": list(ADDRESSES)},
    )
