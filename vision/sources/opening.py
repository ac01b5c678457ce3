"""The source that a person names: a camera's number or address, a video file, a folder."""

from __future__ import annotations

from pathlib import Path

from .camera import Camera
from .folder import WatchedFolder
from .frame import Source, SourceError, Tell, untold
from .video import VIDEO_SUFFIXES, VideoFile


def open_source(
    named: str, *, size_px: tuple[int, int] | None = None, tell: Tell = untold
) -> Source:
    """The source of that name; nothing is opened before its frames are asked for.

    ``size_px`` is the calibration's picture size, which a USB camera is asked for; ``tell`` takes
    sentences for the person at the table.

    Raises:
        SourceError: the name is none of these.
    """
    if named.isdecimal():
        return Camera(int(named), size_px=size_px, tell=tell)
    if "://" in named:
        return Camera(named, tell=tell)
    path = Path(named)
    if path.is_dir():
        return WatchedFolder(path, tell=tell)
    if path.suffix.lower() in VIDEO_SUFFIXES:
        return VideoFile(path)
    if path.exists() and path.is_char_device():
        return Camera(named, tell=tell)
    raise SourceError(
        f"{named}: is no source of pictures; allowed: a camera's number (0 is the first), a "
        f"network camera's address (rtsp://…), a video file ({', '.join(VIDEO_SUFFIXES)}) or a "
        "folder in which stills arrive. Check the name."
    )
