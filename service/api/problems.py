"""Refusals as RFC 9457 problem details: one body for every error that leaves the service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, get_args

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from calibration.errors import RestmarkError
from service.log import asked

from .kinds import KINDS

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "/api/v1/problems/"
REQUEST_ID = "X-Request-ID"
"""Header of a request's id; a sender may give one of its own."""
_METHODS = ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT")


class ApiError(RestmarkError):
    """A request that cannot be; ``code`` is one of ``KINDS``."""


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
    fields: Mapping[str, Any] | None = None,
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
    if fields:
        body["fields"] = dict(fields)
    return kind.status, body


def problem_response(
    code: str,
    detail: str,
    *,
    instance: str,
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    fields: Mapping[str, Any] | None = None,
) -> JSONResponse:
    """The response that carries a problem, and the id of the request that met it."""
    status, body = problem_body(code, detail, instance=instance, errors=errors, fields=fields)
    sent, now = dict(headers or {}), asked()
    if now is not None:
        now.problem = code
        body["request_id"] = sent[REQUEST_ID] = now.id
    return JSONResponse(body, status, sent, MEDIA_TYPE)


def refused(
    request: Request,
    code: str,
    detail: str,
    *,
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    fields: Mapping[str, Any] | None = None,
) -> Response:
    """The problem; as a page of the site where a browser was on its way to one."""
    page = getattr(request.app.state, "wrong_page", None)
    problem = problem_response(
        code, detail, instance=request.url.path, errors=errors, headers=headers, fields=fields
    )
    if page is None or not _is_on_the_way_to_a_page(request):
        return problem
    answer: Response = page(request, problem.status_code, code, detail)
    for name, value in problem.headers.items():
        if name not in ("content-type", "content-length"):
            answer.headers[name] = value
    return answer


def _is_on_the_way_to_a_page(request: Request) -> bool:
    path = request.url.path
    return (
        request.method in ("GET", "HEAD")
        and "text/html" in request.headers.get("accept", "")
        and not path.startswith(("/api/", "/static/"))
    )


def install_problems(app: FastAPI) -> None:
    """Have every refusal and failure of ``app`` leave as a problem, or as a page of the site."""

    @app.exception_handler(RestmarkError)
    async def _refused(request: Request, refusal: RestmarkError) -> Response:
        wait_s = refusal.fields.get("wait_s")
        return refused(
            request,
            refusal.code,
            refusal.detail,
            fields=refusal.fields,
            headers=None if wait_s is None else {"Retry-After": str(wait_s)},
        )

    @app.exception_handler(RequestValidationError)
    async def _invalid(request: Request, invalid: RequestValidationError) -> Response:
        errors = [
            {"field": ".".join(str(part) for part in each["loc"]), "detail": _wrong(request, each)}
            for each in invalid.errors()
        ]
        is_json = all(each["type"] != "json_invalid" for each in invalid.errors())
        first = f"{errors[0]['field']}: {errors[0]['detail']}"
        return refused(
            request,
            "invalid-request" if is_json else "bad-request",
            f"{first}. /api/v1/openapi.json says what is allowed; correct it.",
            errors=errors,
        )

    @app.exception_handler(HTTPException)
    async def _http(request: Request, refusal: HTTPException) -> Response:
        code = _BY_STATUS.get(refusal.status_code, "error")
        headers = dict(refusal.headers or {})
        if refusal.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            # the framework names those of the first route alone that has the address
            headers["Allow"] = ", ".join(_allowed(request)) or headers.pop("allow", "")
        return refused(
            request, code, _detail(request, refusal, headers.get("Allow")), headers=headers
        )

    @app.exception_handler(ClientDisconnect)
    async def _gone(_request: Request, _wrong: ClientDisconnect) -> Response:
        # nobody is there to be told
        return Response(status_code=HTTPStatus.BAD_REQUEST)

    @app.exception_handler(Exception)
    async def _failed(request: Request, _fault: Exception) -> Response:
        return refused(
            request,
            "internal",
            "The service failed on this request; its log says where, under the request's id. Try "
            "again, and report it if it stays.",
        )


def _wrong(request: Request, error: Mapping[str, Any]) -> str:
    """What is wrong with a field; of one that is unknown the framework does not say what is."""
    loc = error["loc"]
    known = _fields_of_body(request) if tuple(loc[:-1]) == ("body",) else ()
    if error["type"] != "extra_forbidden" or not known:
        return str(error["msg"])
    return f"unknown; allowed: {', '.join(known)}"


def _fields_of_body(request: Request) -> tuple[str, ...]:
    """Names of the fields that the route's body may have."""
    field = getattr(request.scope.get("route"), "body_field", None)
    kind = None if field is None else field.field_info.annotation
    models = (each for each in (kind, *get_args(kind)) if isinstance(each, type))
    return next((tuple(m.model_fields) for m in models if issubclass(m, BaseModel)), ())


def _allowed(request: Request) -> list[str]:
    """Methods that the request's address has."""
    routes = request.app.router.routes
    return [
        method
        for method in _METHODS
        if any(
            route.matches({**request.scope, "method": method})[0] is Match.FULL for route in routes
        )
    ]


def _detail(request: Request, refusal: HTTPException, allowed: str | None) -> str:
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
        return f"{method} {path}: not allowed; allowed: {allowed or 'another'}. Use one of those."
    return f"{method} {path}: {plain.lower()}."
