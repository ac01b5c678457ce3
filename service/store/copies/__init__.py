"""A whole store copied into a folder that can be put away, and put back from it as it was.

In: a store, in use or not; a copy. Out: a folder with one file for all but the pictures, the
pictures by their hashes, and ``copy.json``; or a data directory that is the store again. Unlike an
archive a copy of an SQLite store is the store itself, numbers, undo list, live still and all, and
a second copy into the same folder takes only what is new. The rule of the daily copies beside the
database is in ``databases/kept.py``.
"""

from .manifest import CopyError, CopyManifest
from .restoring import Restored, restore
from .taking import back_up

__all__ = ["CopyError", "CopyManifest", "Restored", "back_up", "restore"]
