"""Everything a store keeps as one archive, and an archive taken into a store.

In: a store's rows, stills and lenses, or an archive's file that may come from anybody. Out: the
bytes of a zip, part by part, or the rows of a zip in the store under new numbers. The format is in
``service/docs/archives.md``. Nothing of an archive is believed: names, sizes, hashes, values and
references are looked at before the first row is written. What a document must be to be of use,
the caller knows and says in ``checks``.
"""

from .errors import ArchiveError
from .moving import export_archive, take_archive
from .taking import Checks, Taken

__all__ = [
    "ArchiveError",
    "Checks",
    "Taken",
    "export_archive",
    "take_archive",
]
