"""What the C library keeps of memory that is not used any more."""

from __future__ import annotations

import contextlib
import ctypes
import sys

_M_ARENA_MAX = -8
HEAPS = 2


def few_heaps() -> None:
    """Have all threads share so many heaps; to be said before there are threads.

    glibc gives each thread a heap of its own, up to eight a core. Whatever thread takes a request
    fills another one with pictures and pages, and what one has once needed is never given back.
    Does nothing where there is no glibc.
    """
    if sys.platform != "linux":
        return
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, HEAPS)
