"""Refusals as RFC 9457 problem details: one body for every error that leaves the service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from calibration.errors import RestmarkError

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "/api/v1/problems/"


class ApiError(RestmarkError):
    """A request that cannot be; ``code`` is one of ``KINDS``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of problem: its status, its title and what it means to whoever meets it."""

    status: int
    title: str
    meaning: str


KINDS: Mapping[str, Kind] = {
    "bad-still": Kind(
        status=422,
        title="The still cannot be read",
        meaning="The bytes are no whole picture, or the picture does not suit the calibration. "
        "Nothing was stored.",
    ),
    "bad-file": Kind(
        status=422,
        title="The document is not what it should be",
        meaning="A field is missing or wrong, or the format or its version is unknown here. "
        "Nothing was stored.",
    ),
    "bad-table": Kind(
        status=422,
        title="The table cannot be",
        meaning="A measure of the table is out of bounds. Nothing was stored.",
    ),
    "calibration-refused": Kind(
        status=422,
        title="The calibration is refused",
        meaning="The calibration cannot be used, or not with this still. Nothing was stored.",
    ),
    "bad-intent": Kind(
        status=422,
        title="The intent cannot be played",
        meaning="Its limits contradict each other, or it names what is not on the table. The "
        "intent that held before still holds.",
    ),
    "bad-correction": Kind(
        status=422,
        title="The names cannot be corrected so",
        meaning="A correction names no ball of the reading, or no name. Nothing was changed.",
    ),
    "later-correction": Kind(
        status=409,
        title="A later correction stands on it",
        meaning="Corrections of a reading are taken back one by one, the last first. Nothing was "
        "changed.",
    ),
    "bad-set": Kind(
        status=422,
        title="The ball set cannot be used",
        meaning="A field is missing or wrong, or the set was taught for other networks: teach it "
        "anew. Nothing was stored.",
    ),
    "bad-note": Kind(
        status=422,
        title="The note cannot be taken",
        meaning="A note says spin, side_spin, rails and in_a_row. The note that was there before "
        "still stands.",
    ),
    "bad-player": Kind(
        status=422,
        title="The player's settings cannot be",
        meaning="A setting is unknown or out of bounds. The settings that held before still hold.",
    ),
    "no-calibration": Kind(
        status=409,
        title="No calibration is set",
        meaning="Stills can be read only after PUT /api/v1/calibration.",
    ),
    "no-layout": Kind(
        status=409,
        title="No layout to start from",
        meaning="An intent needs the layout before the shot: post a still of the clear table "
        "first.",
    ),
    "no-intent": Kind(
        status=404,
        title="No intent is pending",
        meaning="The last one was scored or withdrawn, or none was set.",
    ),
    "not-found": Kind(
        status=404, title="Not found", meaning="There is nothing under this address or number."
    ),
    "method-not-allowed": Kind(
        status=405,
        title="Method not allowed",
        meaning="The address exists, but not for this method; Allow lists those it has.",
    ),
    "invalid-request": Kind(
        status=422,
        title="The request is not valid",
        meaning="A parameter or the body is missing or out of bounds; errors lists each.",
    ),
    "bad-request": Kind(
        status=400,
        title="The request cannot be understood",
        meaning="The body is not JSON, or the form or a header is broken.",
    ),
    "too-large": Kind(
        status=413,
        title="The body is too large",
        meaning="Stills may have 20 MB, other bodies 1 MB.",
    ),
    "unsupported-media": Kind(
        status=415,
        title="Unsupported media type",
        meaning="Send a still as image/jpeg, image/png, application/octet-stream or as the file "
        "of a form; all else as application/json.",
    ),
    "idempotency-key-reused": Kind(
        status=422,
        title="The idempotency key was used for another still",
        meaning="A key belongs to one upload. Use a new key for a new still.",
    ),
    "bad-idempotency-key": Kind(
        status=400,
        title="The idempotency key cannot be used",
        meaning="A key has 1 to 200 visible ASCII characters.",
    ),
    "foreign-host": Kind(
        status=421,
        title="Not this service's address",
        meaning="The Host header names another machine. Use the address that the service printed.",
    ),
    "foreign-origin": Kind(
        status=403,
        title="Asked by a page of another site",
        meaning="Only the service's own page and programs may drive it.",
    ),
    "store-failed": Kind(
        status=503,
        title="The data directory cannot be used",
        meaning="The disk is full or not writable, or a file in it is gone or damaged. Nothing "
        "was stored.",
    ),
    "store-damaged": Kind(
        status=503,
        title="The database is damaged",
        meaning="A cell of restmark.db is not what was written there: put your copy of it back. "
        "Nothing was stored.",
    ),
    "internal": Kind(
        status=500,
        title="The service failed",
        meaning="A fault of the program, which its log tells more of. Nothing was stored.",
    ),
    "error": Kind(status=422, title="Refused", meaning="The detail says why."),
}
_BY_STATUS = {
    400: "bad-request",
    404: "not-found",
    405: "method-not-allowed",
    413: "too-large",
    415: "unsupported-media",
    422: "invalid-request",
}


def problem_body(
    code: str,
    detail: str,
    *,
    instance: str,
    errors: Sequence[Mapping[str, str]] = (),
) -> tuple[int, dict[str, Any]]:
    """Status and body of a problem; a code that is unknown here keeps its name."""
    kind = KINDS.get(code, KINDS["error"])
    body: dict[str, Any] = {
        "type": TYPE_PREFIX + (code if code in KINDS else "error"),
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": instance,
        "code": code,
    }
    if errors:
        body["errors"] = list(errors)
    return kind.status, body


def problem_response(
    code: str,
    detail: str,
    *,
    instance: str,
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """The response that carries a problem."""
    status, body = problem_body(code, detail, instance=instance, errors=errors)
    return JSONResponse(body, status, dict(headers) if headers else None, MEDIA_TYPE)


def install_problems(app: FastAPI) -> None:
    """Have every refusal and failure of ``app`` leave as a problem."""

    @app.exception_handler(RestmarkError)
    async def _refused(request: Request, refusal: RestmarkError) -> JSONResponse:
        return problem_response(refusal.code, refusal.detail, instance=request.url.path)

    @app.exception_handler(RequestValidationError)
    async def _invalid(request: Request, invalid: RequestValidationError) -> JSONResponse:
        errors = [
            {"field": ".".join(str(part) for part in each["loc"]), "detail": str(each["msg"])}
            for each in invalid.errors()
        ]
        is_json = all(each["type"] != "json_invalid" for each in invalid.errors())
        first = f"{errors[0]['field']}: {errors[0]['detail']}"
        return problem_response(
            "invalid-request" if is_json else "bad-request",
            f"{first}. /api/v1/openapi.json says what is allowed; correct it.",
            instance=request.url.path,
            errors=errors,
        )

    @app.exception_handler(HTTPException)
    async def _http(request: Request, refusal: HTTPException) -> JSONResponse:
        code = _BY_STATUS.get(refusal.status_code, "error")
        return problem_response(
            code,
            _detail(request, refusal),
            instance=request.url.path,
            headers=refusal.headers,
        )

    @app.exception_handler(Exception)
    async def _failed(request: Request, _fault: Exception) -> JSONResponse:
        return problem_response(
            "internal",
            "The service failed on this request; its log says where. Try again, and report it "
            "if it stays.",
            instance=request.url.path,
        )


def _detail(request: Request, refusal: HTTPException) -> str:
    """A sentence where the framework gives only the status's own words."""
    method, path = request.method, request.url.path
    plain = HTTPStatus(refusal.status_code).phrase
    if refusal.status_code == 400:
        return (
            f"{method} {path}: {str(refusal.detail).rstrip('.')}; allowed: what "
            "/api/v1/openapi.json says. Correct it."
        )
    if refusal.detail != plain:
        return str(refusal.detail)
    if refusal.status_code == 404:
        return f"{path}: nothing is there; /api/v1/openapi.json lists every address. Correct it."
    if refusal.status_code == 405:
        allowed = (refusal.headers or {}).get("allow", "another")
        return f"{method} {path}: not allowed; allowed: {allowed}. Use one of those."
    return f"{method} {path}: {plain.lower()}."
