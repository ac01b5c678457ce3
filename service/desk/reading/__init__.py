"""Stills read by processes of their own, fair between tables.

In: a still's bytes, its calibration and what is known of its ball set. Out: its layout, or why
there is none. A process that dies or hangs is replaced, and takes down the still it read alone.
"""

from .pooled import PooledReaders

__all__ = ["PooledReaders"]
