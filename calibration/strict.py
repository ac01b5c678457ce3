"""One strict way from what a file or a request holds to a checked value.

The fields of a value are checked by pydantic against their own annotations: a number is a finite
number and neither a truth value nor a text, a list has its length, text is text. What pydantic
finds is said in this project's words, "path: got …, allowed: …", as the error of the asking room.
"""

from __future__ import annotations

import functools
import operator
import types
import typing
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import MISSING, fields, is_dataclass
from typing import Annotated, Any, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    InstanceOf,
    TypeAdapter,
    ValidationError,
    create_model,
)
from pydantic_core import from_json

from .errors import CalibrationError, FileFormatError, RestmarkError

T = TypeVar("T")
AGAIN = "Make the file again."


def _number(said: str, **bounds: Any) -> Any:
    return Field(strict=True, allow_inf_nan=False, description=said, **bounds)


Number = Annotated[float, _number("a finite number")]
NotNegative = Annotated[float, _number("a finite number, 0 or more", ge=0)]
Positive = Annotated[float, _number("a finite number above 0", gt=0)]
Share = Annotated[float, _number("a number from 0 to 1", ge=0, le=1)]
Limit = Annotated[float, Field(strict=True, description="a number")]
"""An upper limit: infinity is none."""
Whole = Annotated[int, Field(strict=True, description="a whole number")]
Count = Annotated[int, Field(strict=True, ge=0, description="a whole number, 0 or more")]
PicturePx = Annotated[int, Field(strict=True, ge=2, le=65_535, description="2 to 65535 pixels")]
"""One side of a picture."""
_PLAIN: Mapping[Any, Any] = {
    float: Number,
    int: Whole,
    str: Annotated[str, Field(strict=True, description="text")],
    bool: Annotated[bool, Field(strict=True, description="true or false")],
    bytes: Annotated[bytes, Field(strict=True, description="bytes")],
}
_NUMBER = TypeAdapter(Number)
_ALIAS: Any = types.GenericAlias
_INSTANCE: Any = InstanceOf
_LONGEST = 120
"""Characters of a wrong value that a message repeats."""


def parse(
    content: str | bytes,
    *,
    place: str,
    what: str,
    remedy: str,
    error: type[RestmarkError] = FileFormatError,
) -> Any:
    """The JSON value in ``content``: no NaN, no endless numbers, no nesting without end.

    ``what`` says what is allowed instead, ``remedy`` what to do.
    """
    try:
        return from_json(content, allow_inf_nan=False)
    except ValueError as wrong:
        raise error(
            f"{place}: cannot be read as JSON ({wrong}); allowed: {what}. {remedy}"
        ) from None


def check(value: Any, *, label: str, error: type[RestmarkError], remedy: str) -> None:
    """Check a frozen dataclass's fields in its ``__post_init__`` against their annotations.

    Lists become tuples, whole numbers floats where floats are meant. ``label`` starts the path of
    what is refused; "" for the bare field.
    """
    kind: Any = type(value)
    given = {name: getattr(value, name) for name in _hints(kind)}
    for name, sound in _sound(kind, given, label, error, remedy).items():
        object.__setattr__(value, name, sound)


def build(
    kind: type[T],
    data: object,
    *,
    path: str,
    label: str = "",
    remedy: str = AGAIN,
    error: type[RestmarkError] = FileFormatError,
    closed: bool = False,
    needed: Sequence[str] | None = None,
    convert: Mapping[str, Callable[[Any, str], Any]] | None = None,
) -> T:
    """A value of the dataclass ``kind`` from a JSON object; errors start with ``path``.

    ``label`` is what the class's own refusals start with. ``closed`` refuses unknown keys.
    ``needed`` names the keys that must be there; default: fields without a default. ``convert``
    makes nested values: ``convert[name](data[name], path_of_it)``.
    """
    wanted_kind: Any = kind
    hints = _hints(wanted_kind)
    row = record(data, path, known=tuple(hints), closed=closed, error=error, remedy=remedy)
    wanted = _needed(wanted_kind) if needed is None else needed
    for name in wanted:
        if name not in row:
            raise error(
                f"{path}.{name}: missing; allowed: an object with {', '.join(wanted)}. {remedy}"
            )
    makers = convert or {}
    given = {
        name: makers[name](row[name], f"{path}.{name}") if name in makers else row[name]
        for name in hints
        if name in row
    }
    sound = _sound(kind, given, path, error, remedy)
    with under(path, label=label, error=error):
        return kind(**sound)


def record(
    data: object,
    path: str,
    *,
    known: Sequence[str] = (),
    closed: bool = False,
    error: type[RestmarkError] = FileFormatError,
    remedy: str = AGAIN,
) -> Mapping[str, Any]:
    """``data`` as a JSON object; with ``closed`` one that has no other keys than ``known``."""
    if not isinstance(data, Mapping):
        with_keys = f" with {', '.join(known)}" if known else ""
        raise error(f"{path}: got {shown(data)}; allowed: an object{with_keys}. {remedy}")
    unknown = sorted(shown(key, bare=True) for key in data if key not in known) if closed else ()
    if unknown:
        raise error(
            f"{path}: got unknown field(s) {', '.join(unknown)}; allowed: "
            f"{', '.join(known)}. {remedy}"
        )
    return data


def listed(
    each: Callable[[Any, str], T], *, error: type[RestmarkError] = FileFormatError
) -> Callable[[Any, str], tuple[T, ...]]:
    """A converter of lists: ``each`` makes every item, told its path."""

    def convert(data: Any, path: str) -> tuple[T, ...]:
        if not isinstance(data, list | tuple):
            raise error(f"{path}: got {shown(data)}; allowed: a list. {AGAIN}")
        return tuple(each(item, f"{path}[{i}]") for i, item in enumerate(data))

    return convert


def or_none(each: Callable[[Any, str], T]) -> Callable[[Any, str], T | None]:
    """A converter that lets null be."""
    return lambda data, path: None if data is None else each(data, path)


def number(
    value: object, path: str, *, remedy: str = AGAIN, error: type[RestmarkError] = FileFormatError
) -> float:
    """A finite number that stands by itself."""
    try:
        return _NUMBER.validate_python(value)
    except ValidationError:
        raise error(f"{path}: got {shown(value)}; allowed: a finite number. {remedy}") from None


def names_of(kind: Any) -> tuple[str, ...]:
    """Names of all fields of a dataclass, for ``needed``."""
    return tuple(_hints(kind))


@contextmanager
def under(
    path: str, *, label: str = "", error: type[RestmarkError] = FileFormatError
) -> Iterator[None]:
    """Refusals raised inside start with ``path`` where they started with ``label``.

    What a file says wrongly is an ``error``, not a failed calibration.
    """
    try:
        yield
    except RestmarkError as wrong:
        rest = wrong.detail.removeprefix(label) if label else f".{wrong.detail}"
        wrong.detail = f"{path}{rest}" if rest[:1] in (".", ":", " ", "[") else f"{path}: {rest}"
        wrong.args = (wrong.detail,)
        if isinstance(wrong, CalibrationError):
            raise error(wrong.detail) from None
        raise


def shown(value: object, *, bare: bool = False) -> str:
    """A wrong value as a message repeats it: never longer than a line."""
    try:
        text = str(value) if bare else repr(value)
    except (ValueError, RecursionError):  # an endless number, an endless nesting
        return f"a {type(value).__name__} too long to be shown"
    text = text.encode("utf-8", "backslashreplace").decode()
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"


# -- what pydantic is asked, and what it says --------------------------------------------------


@functools.cache
def _hints(kind: Any) -> Mapping[str, Any]:
    hints = typing.get_type_hints(kind, include_extras=True)
    return {field.name: _strict(hints[field.name]) for field in fields(kind) if field.init}


@functools.cache
def _model(kind: Any, names: frozenset[str]) -> type[BaseModel]:
    wanted: dict[str, Any] = {n: (hint, ...) for n, hint in _hints(kind).items() if n in names}
    config = ConfigDict(protected_namespaces=(), arbitrary_types_allowed=True)
    return create_model(kind.__name__, __config__=config, **wanted)


@functools.cache
def _needed(kind: Any) -> tuple[str, ...]:
    return tuple(
        field.name
        for field in fields(kind)
        if field.default is MISSING and field.default_factory is MISSING
    )


def _strict(hint: Any) -> Any:
    """The annotation with its plain types made strict and its dataclasses taken as they are."""
    if hint in _PLAIN:
        return _PLAIN[hint]
    origin, parts = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple:
        return _ALIAS(tuple, tuple(p if p is ... else _strict(p) for p in parts))
    if origin in (types.UnionType, typing.Union):
        return functools.reduce(operator.or_, (_strict(part) for part in parts))
    if origin is None and is_dataclass(hint):
        return _INSTANCE[hint]
    return hint


def _sound(
    kind: type,
    given: Mapping[str, Any],
    path: str,
    error: type[RestmarkError],
    remedy: str,
) -> dict[str, Any]:
    model = _model(kind, frozenset(given))
    try:
        found = model.__pydantic_validator__.validate_python(dict(given))
    except ValidationError as wrong:
        raise error(_sentence(kind, wrong, path, remedy)) from None
    return {name: getattr(found, name) for name in given}


def _sentence(kind: type, wrong: ValidationError, path: str, remedy: str) -> str:
    first = wrong.errors(include_url=False, include_context=False)[0]
    place, got, hint = [path] if path else [], first["input"], None
    loc = first["loc"]
    if first["type"] == "missing":  # an item of a list that is too short
        loc = loc[:-1]
    for step in loc:
        hint = _hints(kind)[str(step)] if hint is None else _part(hint, step)
        if isinstance(step, int):
            place[-1] += f"[{step}]"
        else:
            place.append(str(step))
    return f"{'.'.join(place)}: got {shown(got)}; allowed: {_said(hint)}. {remedy}"


def _part(hint: Any, step: int | str) -> Any:
    """What is wanted at a place inside a list."""
    parts = [p for p in typing.get_args(hint) if p not in (..., type(None))]
    if typing.get_origin(hint) is tuple:
        return parts[step] if isinstance(step, int) and step < len(parts) else parts[0]
    return _part(parts[0], step) if parts else hint


def _said(hint: Any) -> str:
    """What an annotation allows, in words."""
    origin, parts = typing.get_origin(hint), typing.get_args(hint)
    if origin is Annotated:
        words = [meta.description for meta in parts[1:] if getattr(meta, "description", None)]
        return str(words[0]) if words else _said(parts[0])
    if origin is tuple:
        item = _plural(_said(parts[0]))
        return f"a list of {item}" if parts[-1] is ... else f"{len(parts)} {item}"
    if origin in (types.UnionType, typing.Union):
        return " or ".join(_said(part) for part in parts if part is not type(None))
    return f"a {getattr(hint, '__name__', 'value')}"


def _plural(said: str) -> str:
    words = {"a finite number": "numbers", "text": "texts"}
    if said[:1].isdigit():  # a list of so many
        return f"lists of {said}"
    return words.get(said, f"numbers: {said.removeprefix('a number ')}")
