"""``copy.json``: what lies in a copy, and how it is known to be whole."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from calibration import strict

from ..archive.manifest import KeptLens
from ..databases.kept import sync
from ..records import StoreError

NAME = "copy.json"
FORMAT, VERSION = "restmark-copy", 1
_MEMBER = re.compile(r"restmark-[0-9TZ]{1,40}\.(db|zip)")
_CHUNK_BYTES = 1 << 20


class CopyError(StoreError):
    """The copy cannot be made, or put back; nothing was changed.

    Codes: ``bad-copy`` (damaged, or no copy), ``newer-copy`` (of a release newer than this one),
    ``store-there`` (it would take a store's place).
    """

    code = "bad-copy"


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyManifest:
    """What a copy says of itself."""

    made_at: datetime
    software: str
    step: str
    """Newest step of the database that it was made of."""
    member: str
    """File with all but the pictures: a database, ``.db``, or an archive, ``.zip``."""
    size_bytes: int
    sha256: str
    stills: int
    """Stills' files in ``stills/``; those of an archive lie in it."""
    missing_stills: tuple[str, ...] = ()
    """Hashes of stills whose file was gone or damaged when the copy was made."""
    lenses: tuple[KeptLens, ...] = ()
    """Files in ``lenses/``; those of an archive lie in it."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of ``copy.json``."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "made_at": self.made_at.isoformat(timespec="seconds"),
            "software": self.software,
            "step": self.step,
            "member": self.member,
            "size_bytes": self.size_bytes,
            "sha256": self.sha256,
            "stills": self.stills,
            "missing_stills": list(self.missing_stills),
            "lenses": [each.to_dict() for each in self.lenses],
        }

    def write(self, folder: Path) -> None:
        """Put it in ``folder``, whole, in place of an earlier one: the copy is made by that."""
        part = folder / f"{NAME}.part"
        part.write_text(json.dumps(self.to_dict(), indent=1) + "\n", encoding="utf-8")
        part.chmod(0o600)
        sync(part)
        os.replace(part, folder / NAME)
        sync(folder)

    @classmethod
    def read(cls, folder: Path) -> CopyManifest:
        """What the copy in ``folder`` says of itself.

        Raises:
            CopyError: there is none, or one that cannot be used here.
        """
        place = folder / NAME
        try:
            content = place.read_bytes()
        except OSError as wrong:
            raise not_whole(place, str(wrong)) from None
        document = strict.parse(
            content, place=str(place), what="JSON", remedy="Use another copy.", error=CopyError
        )
        if not isinstance(document, dict) or document.get("format") != FORMAT:
            raise not_whole(place, f"no {FORMAT!r}")
        version = document.get("version")
        if isinstance(version, int) and version > VERSION:
            raise newer(place, f"version {version}", f"version {VERSION}")
        try:
            return cls._of(document)
        except (KeyError, TypeError, ValueError) as wrong:
            raise not_whole(place, f"a field that is missing or wrong ({wrong})") from None

    @classmethod
    def _of(cls, document: Mapping[str, Any]) -> CopyManifest:
        made_at = datetime.fromisoformat(document["made_at"])
        if made_at.tzinfo is None or document["version"] != VERSION:
            raise ValueError("made_at without its zone, or an unknown version")
        # a name from a file never leads out of the folder
        if not _MEMBER.fullmatch(document["member"]):
            raise ValueError(f"member {document['member']!r:.60}")
        return cls(
            made_at=made_at,
            software=str(document["software"]),
            step=str(document["step"]),
            member=document["member"],
            size_bytes=int(document["size_bytes"]),
            sha256=str(document["sha256"]),
            stills=int(document["stills"]),
            missing_stills=tuple(map(str, document["missing_stills"])),
            # copies of before lenses were copied have none
            lenses=KeptLens.listed(document.get("lenses", ())),
        )

    def check(self, folder: Path) -> None:
        """See that the member is the one that was written.

        Raises:
            CopyError: it is not.
        """
        path = folder / self.member
        try:
            found = (path.stat().st_size, hash_of(path))
        except OSError as wrong:
            raise not_whole(path, str(wrong)) from None
        if found != (self.size_bytes, self.sha256):
            raise not_whole(path, "other bytes than were written")


def hash_of(path: Path) -> str:
    """SHA-256 of a file, however large."""
    with path.open("rb") as file:
        found = hashlib.sha256()
        while chunk := file.read(_CHUNK_BYTES):
            found.update(chunk)
    return found.hexdigest()


def newer(place: Path, got: str, known: str) -> CopyError:
    """What is said of a copy of a release that is newer than this one."""
    return CopyError(
        f"{place}: got {got}; allowed: up to {known}. A newer Restmark made the copy, and an older "
        "one cannot go back: use that one, or a newer one.",
        code="newer-copy",
    )


def not_whole(place: Path, got: str) -> CopyError:
    """What is said of a part of a copy that is not what was written."""
    return CopyError(
        f"{place}: got {got}; allowed: a folder of `restmark backup`, whole. Use another copy."
    )
