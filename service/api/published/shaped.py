"""A value that has a schema's shape, for an example where none was recorded."""

from __future__ import annotations

from typing import Any

_DEEPEST = 12
_TEXT_FORMATS = {
    "date-time": "2026-11-24T19:30:00+00:00",
    "date": "2026-11-24",
    "binary": "…",
    "uuid": "6f1b1d1e-0b7a-4a53-9d1c-2f6a3c1e8f00",
}


def shaped(schema: dict[str, Any], document: dict[str, Any], *, depth: int = 0) -> Any:
    """A value of that schema of ``document``; an object has every field that it must have, and
    those that may be left out while it is not deep."""
    schema = _resolved(schema, document)
    for key in ("example", "default", "const"):
        if key in schema and schema[key] is not None:
            return schema[key]
    if schema.get("examples"):
        return schema["examples"][0]
    if schema.get("enum"):
        return schema["enum"][0]
    for key in ("anyOf", "oneOf", "allOf"):
        if schema.get(key):
            return _of_one(schema[key], document, depth)
    return _of_kind(schema, document, depth)


def _resolved(schema: dict[str, Any], document: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in schema:
        found: Any = document
        for part in schema["$ref"].removeprefix("#/").split("/"):
            found = found[part]
        schema = found
    return schema


def _of_one(choices: list[dict[str, Any]], document: dict[str, Any], depth: int) -> Any:
    """The first choice that is something; nothing where it would go on without end."""
    some = [each for each in choices if each.get("type") != "null"]
    if depth > _DEEPEST and len(some) < len(choices):
        return None
    return shaped(some[0], document, depth=depth + 1) if some else None


def _of_kind(schema: dict[str, Any], document: dict[str, Any], depth: int) -> Any:
    kind = schema.get("type")
    if kind == "object" or "properties" in schema:
        required = schema.get("required", ())
        return {
            name: shaped(each, document, depth=depth + 1)
            for name, each in schema.get("properties", {}).items()
            if name in required or depth < _DEEPEST
        }
    if kind == "array":
        parts = schema.get("prefixItems")
        if parts is None:
            parts = [schema.get("items", {})] * max(1, schema.get("minItems", 1))
        return [shaped(each, document, depth=depth + 1) for each in parts]
    if kind in ("integer", "number"):
        least = schema.get("minimum", schema.get("exclusiveMinimum", 0) + 1)
        return min(max(1, least), schema.get("maximum", max(1, least)))
    if kind == "boolean":
        return True
    if kind == "string":
        text = _TEXT_FORMATS.get(schema.get("format", ""), "text")
        return text.ljust(schema.get("minLength", 0), "x")[: schema.get("maxLength")]
    return {} if kind is None else None
