"""What is said beside a result: a code and fields for programs, and a sentence for people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from .errors import FileFormatError

PLAIN = "note"
"""Code of a sentence that came without one, from an older file or another program."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One warning. Programs branch on ``code`` and ``fields``; ``text`` is for people alone."""

    code: str
    text: str
    fields: Mapping[str, Any] = field(default_factory=dict)
    """Plain JSON values: what the sentence was made of, with units in the names."""

    def __hash__(self) -> int:
        return hash((self.code, self.text))

    def __str__(self) -> str:
        return self.text

    @property
    def places_mm(self) -> tuple[tuple[float, float], ...]:
        """Places on the table that the notice is about, by its field of that name."""
        given = self.fields.get("places_mm")
        pairs = given if isinstance(given, list | tuple) else ()
        return tuple(
            (float(pair[0]), float(pair[1]))
            for pair in pairs
            if isinstance(pair, list | tuple)
            and len(pair) == 2
            and all(isinstance(value, int | float) for value in pair)
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {"code": self.code, "detail": self.text, "fields": dict(self.fields)}

    @classmethod
    def from_dict(cls, data: object, *, path: str = "notice") -> Notice:
        """Inverse of ``to_dict``.

        Raises:
            FileFormatError: ``data`` is no such object; the text names the field by ``path``.
        """
        given = data if isinstance(data, Mapping) else {}
        code, text, fields = given.get("code"), given.get("detail"), given.get("fields", {})
        if not (isinstance(code, str) and isinstance(text, str) and isinstance(fields, Mapping)):
            raise FileFormatError(
                f"{path}: got {data!r}; allowed: an object with code and detail as text, and "
                "fields as an object. Correct it."
            )
        return cls(code=code, text=text, fields=dict(fields))


def sentences(notices: Iterable[Notice]) -> tuple[str, ...]:
    """The notices' sentences, in their order."""
    return tuple(notice.text for notice in notices)


def notices_from(data: Mapping[str, Any], *, path: str) -> tuple[Notice, ...]:
    """Notices of a JSON object that holds ``warnings`` (sentences), ``notices``, both or neither.

    A sentence that no notice has becomes one of code ``PLAIN``.

    Raises:
        FileFormatError: either is no list of what it should hold; the text names the field.
    """
    made = tuple(
        Notice.from_dict(item, path=f"{path}.notices[{i}]")
        for i, item in enumerate(_list(data, "notices", path))
    )
    said = set(sentences(made))
    plain = []
    for i, text in enumerate(_list(data, "warnings", path)):
        if not isinstance(text, str):
            raise FileFormatError(
                f"{path}.warnings[{i}]: got {text!r}; allowed: text. Make the file again."
            )
        if text not in said:
            plain.append(Notice(code=PLAIN, text=text))
    return (*made, *plain)


def _list(data: Mapping[str, Any], name: str, path: str) -> list[Any]:
    value = data.get(name, [])
    if not isinstance(value, list | tuple):
        raise FileFormatError(
            f"{path}.{name}: got {value!r}; allowed: a list. Make the file again."
        )
    return list(value)
