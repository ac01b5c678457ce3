"""A whole store out as one archive or copy, and back: how a practice moves house, and is kept.

In: a store, or an archive's file from anybody; a copy's folder. Out: bytes of a zip, or what was
added; a folder, or a store as it was; clear stills as a folder in the truth format. The formats are
the store's (``service.store.archive``, ``service.store.copies``) and ``vision.truth``'s; what
documents must be, the rooms know that read them, and ``checks`` asks them. Nothing else is decided
here.
"""

from .archives import export_archive, take_in
from .copies import back_up, restore
from .truths import Exported, Wanted, export_stills

__all__ = [
    "Exported",
    "Wanted",
    "back_up",
    "export_archive",
    "export_stills",
    "restore",
    "take_in",
]
