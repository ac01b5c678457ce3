"""The archive's first page: format, version, and what each member holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from calibration import strict
from calibration.errors import RestmarkError

from .errors import ArchiveError, damaged

NAME = "manifest.json"
FORMAT, VERSION = "restmark-archive", 1
LENSES_MOST = 50
"""Of one data folder."""
_HASH_LENGTH, _NUMBER_LENGTH = 64, 12
_FIRST_YEAR = 1971
"""File systems hold no earlier times everywhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """Rows of one table."""

    name: str
    rows: int
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptLens:
    """One lens's file."""

    number: str
    """Start of the hash of what it says, which names it."""
    kept_at: datetime
    size_bytes: int
    sha256: str

    def to_dict(self) -> dict[str, Any]:
        """JSON object of a manifest."""
        return {
            "number": self.number,
            "kept_at": self.kept_at.isoformat(),
            "size_bytes": self.size_bytes,
            "sha256": self.sha256,
        }

    @classmethod
    def listed(cls, documents: Iterable[Any]) -> tuple[KeptLens, ...]:
        """Those of a manifest's list.

        Raises:
            KeyError, TypeError, ValueError: one is none, a number comes twice, or too many.
        """
        found = tuple(
            cls(
                number=_number(each["number"]),
                kept_at=_moment(each["kept_at"]),
                size_bytes=_count(each["size_bytes"]),
                sha256=_hash(each["sha256"]),
            )
            for each in documents
        )
        if len({each.number for each in found}) != len(found) or len(found) > LENSES_MOST:
            raise ValueError("lenses: a number twice, or too many")
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What an archive says of itself."""

    step: str
    """Newest step of the database that it was made of."""
    made_at: datetime
    software: str
    members: tuple[Member, ...]
    stills: int
    """Stills' files; each is named by its own hash."""
    missing_stills: tuple[str, ...] = ()
    """Hashes of stills whose file was gone or damaged."""
    lenses: tuple[KeptLens, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """JSON object of ``manifest.json``."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "step": self.step,
            "made_at": self.made_at.isoformat(),
            "software": self.software,
            "members": [
                {
                    "name": each.name,
                    "rows": each.rows,
                    "size_bytes": each.size_bytes,
                    "sha256": each.sha256,
                }
                for each in self.members
            ],
            "stills": self.stills,
            "missing_stills": list(self.missing_stills),
            "lenses": [each.to_dict() for each in self.lenses],
        }

    @classmethod
    def read(cls, content: bytes) -> Manifest:
        """The manifest in those bytes.

        Raises:
            ArchiveError: it is none, or one of a newer release.
        """
        document = strict.parse(
            content, place=NAME, what="JSON", remedy="Export it again.", error=ArchiveError
        )
        if not isinstance(document, dict) or document.get("format") != FORMAT:
            raise damaged(NAME, "another format", f"format {FORMAT!r}")
        version = document.get("version")
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            raise damaged(f"{NAME} version", repr(version)[:40], "a whole number from 1")
        if version > VERSION:
            raise newer(f"{NAME} version", str(version), str(VERSION))
        try:
            return cls._of(document)
        except (KeyError, TypeError, ValueError) as wrong:
            if isinstance(wrong, RestmarkError):
                raise
            raise damaged(NAME, f"a field that is missing or wrong ({wrong})") from None

    @classmethod
    def _of(cls, document: Mapping[str, Any]) -> Manifest:
        members = tuple(
            Member(
                name=_text(each["name"]),
                rows=_count(each["rows"]),
                size_bytes=_count(each["size_bytes"]),
                sha256=_hash(each["sha256"]),
            )
            for each in document["members"]
        )
        if len({each.name for each in members}) != len(members):
            raise damaged(f"{NAME} members", "a name twice")
        return cls(
            step=_text(document["step"]),
            made_at=_moment(document["made_at"]),
            software=_text(document["software"]),
            members=members,
            stills=_count(document["stills"]),
            missing_stills=tuple(_hash(each) for each in document["missing_stills"]),
            # archives of before lenses travelled have none
            lenses=KeptLens.listed(document.get("lenses", ())),
        )


def newer(where: str, got: str, known: str) -> ArchiveError:
    """What is said of an archive of a release that is newer than this one."""
    return ArchiveError(
        f"{where}: got {got}; allowed: up to {known}. A newer Restmark made the archive: use that "
        "one, or a newer one.",
        code="newer-archive",
        fields={"where": where, "got": got, "known": known},
    )


def is_hash(value: object) -> bool:
    """Whether it is a SHA-256 as files are named by."""
    return (
        isinstance(value, str)
        and len(value) == _HASH_LENGTH
        and all(digit in "0123456789abcdef" for digit in value)
    )


def is_number(value: object) -> bool:
    """Whether it is a number as lenses are named by: the start of a hash."""
    return isinstance(value, str) and len(value) == _NUMBER_LENGTH and is_hash(value.ljust(64, "0"))


def _number(value: Any) -> str:
    if not is_number(value):
        raise ValueError(f"got {value!r:.40}; the start of a SHA-256 is allowed")
    return str(value)


def _moment(value: Any) -> datetime:
    moment = datetime.fromisoformat(_text(value))
    if moment.tzinfo is None or moment.year < _FIRST_YEAR:
        raise ValueError(f"got the time {value!r:.40}; one with its zone is allowed")
    return moment


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _count(value: Any) -> int:
    if not _is_count(value) or value < 0:
        raise ValueError(f"got {value!r:.40}; a whole number is allowed")
    return int(value)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"got {value!r:.40}; text is allowed")
    return value


def _hash(value: Any) -> str:
    if not is_hash(value):
        raise ValueError(f"got {value!r:.70}; a SHA-256 is allowed")
    return str(value)
