"""The framework's document, completed: refusals by status, examples by address."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI

from ..kinds import KINDS
from ..models import Problem
from ..problems import MEDIA_TYPE, problem_body
from .examples import text_example
from .shaped import shaped

_METHODS = ("get", "put", "post", "patch", "delete")
_ALWAYS = (401, 403, 421, 500, 503)
_ASKED = (404, 409, 422)
"""Where a number, a filter or a body is given, it may be wrong or nothing may be there."""
_CHANGING = (400, 413, 415)
_RARE = tuple(
    sorted(
        {kind.status for kind in KINDS.values()}
        - {*_ALWAYS, *_ASKED, *_CHANGING, 405}  # that one is of an address without the method
    )
)
"""What few routes answer with."""
_PROBLEM = "#/components/schemas/Problem"


def publish(app: FastAPI) -> None:
    """Have ``app`` publish what it answers, all of it."""
    plain = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            document = plain()
            complete(document)
            app.openapi_schema = document
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def complete(document: dict[str, Any]) -> None:
    """Add refusals and examples to a document, in place."""
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    if "Problem" not in schemas:
        schemas["Problem"] = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    _plain_lists(document)
    _add_tokens(document)
    for path, method, operation in operations(document):
        _add_refusals(operation, path, changes=method != "get")
        _add_example(operation.get("requestBody", {}), document)
        for status, answer in operation["responses"].items():
            if status.startswith("2"):
                _add_example(answer, document)


def _add_tokens(document: dict[str, Any]) -> None:
    """How a paired device shows who it is, where the service lets only those in."""
    document["components"]["securitySchemes"] = {
        "device": {
            "type": "http",
            "scheme": "bearer",
            "description": "The token of a paired device, where the service is reached by others "
            "too: POST /api/v1/pair gives one for a code, `restmark devices token` without.",
        }
    }
    document["security"] = [{}, {"device": []}]


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Path, method and operation of all that can be asked."""
    for path, item in document["paths"].items():
        for method in _METHODS:
            if method in item:
                yield path, method, item[method]


def _add_refusals(operation: dict[str, Any], path: str, *, changes: bool) -> None:
    answers = operation["responses"]
    for wide in ("4XX", "5XX", "default"):
        answers.pop(wide, None)
    asked = bool(operation.get("parameters")) or "requestBody" in operation
    wider = (*(_ASKED if asked else ()), *((*_CHANGING, *_RARE) if changes else ()))
    for status in (*_ALWAYS, *wider):
        codes = [code for code, kind in KINDS.items() if kind.status == status]
        _, body = problem_body(codes[0], KINDS[codes[0]].meaning, instance=path)
        answers[str(status)] = {
            "description": f"Refused; codes: {', '.join(codes)}.",
            "content": {MEDIA_TYPE: {"schema": {"$ref": _PROBLEM}, "example": body}},
        }


def _add_example(part: dict[str, Any], document: dict[str, Any]) -> None:
    """An example in every content of a body that a person can read."""
    for media_type, content in part.get("content", {}).items():
        content.setdefault("schema", _plain_schema(media_type))
        if "example" in content or "examples" in content:
            continue
        if media_type == "application/json":
            content["example"] = shaped(content.get("schema", {}), document)
        elif (text := text_example(media_type)) is not None:
            content["example"] = text


def _plain_lists(part: Any) -> None:
    """Places and the like as lists of so many equal things, which every reader knows."""
    if isinstance(part, list):
        for each in part:
            _plain_lists(each)
    elif isinstance(part, dict):
        for each in part.values():
            _plain_lists(each)
        parts = part.get("prefixItems")
        if isinstance(parts, list) and parts and all(each == parts[0] for each in parts):
            del part["prefixItems"]
            part["items"] = parts[0]


def _plain_schema(media_type: str) -> dict[str, Any]:
    """What is said of a body that has no model."""
    if media_type == "application/json":
        return {"type": "object"}
    is_text = text_example(media_type) is not None
    return {"type": "string"} if is_text else {"type": "string", "format": "binary"}
