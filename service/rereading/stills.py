"""Where the bytes of kept stills come from: a folder, or any address that fsspec knows.

A place holds a still under its hash, in folders by the hash's first two letters as a store's
``stills/`` does, or flat as an archive's ``stills/`` does. An archive on a web server need not be
fetched whole: ``zip://stills::https://…/practice.zip`` asks for the ranges that hold one still.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

from .errors import RereadError, no_extra

Fetch = Callable[[str], bytes]


class StillGoneError(RereadError):
    """Bytes of a still that are not to be had, or are others."""

    code = "still-gone"


def is_address(source: str) -> bool:
    """Whether that is an address, and no folder of this machine."""
    return "://" in source or "::" in source


def fetched(source: str, sha256: str) -> bytes:
    """The still of that hash.

    Raises:
        StillGoneError: it is not there, cannot be had, or its bytes are not those.
        RereadError: no such kind of place.
    """
    try:
        data = _place(source)(sha256)
    except RereadError:
        raise
    except Exception as wrong:  # each kind of place has errors of its own
        raise StillGoneError(
            f"still {sha256[:12]}…: cannot be had from {shown(source)} ({_said(wrong)}); allowed: "
            "a place that holds it under its hash. Put it there, or see that the place answers."
        ) from None
    if hashlib.sha256(data).hexdigest() != sha256:
        raise StillGoneError(
            f"still {sha256[:12]}…: {shown(source)} has {len(data)} bytes that are not the "
            "still's; allowed: its own. Put the file back from your copy."
        )
    return data


def check(source: str) -> None:
    """Refuse a place that cannot be asked at all."""
    if is_address(source):
        _place(source)
    elif not Path(source).is_dir():
        raise RereadError(
            f"--stills: got {source}, which is no folder; allowed: a folder, or an address such as "
            "s3://BUCKET/stills or https://HOST/stills. Correct it.",
            code="no-such-place",
        )


def shown(source: str) -> str:
    """The place as it may be printed: without a password in it."""
    head, found, tail = source.rpartition("@")
    return f"{head.split('://')[0]}://…@{tail}" if found and "://" in head else source


@lru_cache(maxsize=2)
def _place(source: str) -> Fetch:
    return _remote(source) if is_address(source) else _folder(Path(source))


def _folder(folder: Path) -> Fetch:
    def fetch(sha256: str) -> bytes:
        parted = folder / sha256[:2] / sha256
        return (parted if parted.exists() else folder / sha256).read_bytes()

    return fetch


def _remote(source: str) -> Fetch:
    try:
        from fsspec.core import url_to_fs
    except ImportError:
        raise no_extra("fsspec") from None
    try:
        system, root = url_to_fs(source)
    except (ImportError, ValueError, OSError) as wrong:
        raise RereadError(
            f"--stills: {shown(source)} cannot be opened ({_said(wrong)}); allowed: a folder, or "
            "an address whose kind fsspec knows here. Correct it, or install what it names.",
            code="no-such-place",
        ) from None
    prefix = f"{root.rstrip('/')}/" if root else ""
    flat: list[bool] = []

    def fetch(sha256: str) -> bytes:
        places = (f"{prefix}{sha256[:2]}/{sha256}", f"{prefix}{sha256}")
        if flat and flat[0]:
            places = places[::-1]
        try:
            data = _whole(system, places[0])
        except FileNotFoundError:
            data = _whole(system, places[1])
            flat[:] = [not (flat and flat[0])]
        return data

    return fetch


def _whole(system: Any, place: str) -> bytes:
    data: bytes = system.cat_file(place)
    return data


def _said(wrong: Exception) -> str:
    return " ".join(str(wrong).split())[:200] or type(wrong).__name__
