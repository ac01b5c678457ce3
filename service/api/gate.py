"""What may come in: requests to our own address, from no other site's page, of bounded size."""

from __future__ import annotations

from collections.abc import Collection
from urllib.parse import urlsplit

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .problems import problem_response

STILL_LIMIT_BYTES = 20_000_000
SHEET_LIMIT_BYTES = 20_000_000
BODY_LIMIT_BYTES = 1_000_000
ARCHIVE_LIMIT_BYTES = 100_000_000_000
PAIR_LIMIT_BYTES = 4_000
STILLS_PATH = "/api/v1/stills"
_LIMITS_BYTES = {
    STILLS_PATH: STILL_LIMIT_BYTES,
    "/api/v1/guide/look": STILL_LIMIT_BYTES,
    "/guide/parts": STILL_LIMIT_BYTES,
    "/api/v1/setup/stills": STILL_LIMIT_BYTES,
    "/api/v1/layouts/import": SHEET_LIMIT_BYTES,
    "/api/v1/import": ARCHIVE_LIMIT_BYTES,
    # whoever is not paired yet may send no more
    "/api/v1/pair": PAIR_LIMIT_BYTES,
    "/pair": PAIR_LIMIT_BYTES,
}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_RESPONSE_HEADERS = {
    "content-security-policy": "default-src 'self'; img-src 'self' data:; "
    "object-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
    # with none at all, browsers would not say in a form's Origin that it is ours
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
}


class Gate:
    """ASGI middleware around the whole service.

    A loopback port is open to every page in the user's browser: a name of another site that
    resolves here is stopped by its Host header, a form or script of another site by its
    Origin. Bodies over the limit are refused before they are held.
    """

    def __init__(self, app: ASGIApp, *, host_names: Collection[str]) -> None:
        """``host_names`` are ours, names and addresses; nothing else is."""
        self._app = app
        self._host_names = frozenset(name.lower() for name in host_names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, or answer it with a problem."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            code, detail = refusal
            response = problem_response(
                code, detail, instance=Request(scope).url.path, headers=_RESPONSE_HEADERS
            )
            await response(scope, receive, send)
            return
        limit = _LIMITS_BYTES.get(scope["path"], BODY_LIMIT_BYTES)
        await self._app(scope, _bounded(receive, limit), _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[str, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._is_ours(host):
            return "foreign-host", (
                f"Host: got {host!r}; allowed: {', '.join(sorted(self._host_names))}. Use the "
                "address that the service printed."
            )
        origin = headers.get("origin")
        site = headers.get("sec-fetch-site", "none")
        is_foreign = (origin is not None and urlsplit(origin).netloc.lower() != host.lower()) or (
            site not in ("none", "same-origin")
        )
        if is_foreign and scope["method"] not in SAFE_METHODS:
            return "foreign-origin", (
                f"Origin: got {origin or site!r}; allowed: this service's own page. Open it and "
                "act there, or use a program that sends no Origin."
            )
        limit = _LIMITS_BYTES.get(scope["path"], BODY_LIMIT_BYTES)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > limit:
            return "too-large", _too_large(length, limit)
        return None

    def _is_ours(self, host: str) -> bool:
        try:
            name = (urlsplit(f"//{host}").hostname or "").lower()
        except ValueError:
            return False
        return name in self._host_names


def _too_large(length: str, limit: int) -> str:
    if limit == BODY_LIMIT_BYTES:
        remedy = (
            "Only stills are larger, and they go to POST /api/v1/stills; a calibration is the "
            "table.json that `restmark calibrate` makes of a still."
        )
    elif limit == ARCHIVE_LIMIT_BYTES:
        remedy = "Take it in with `restmark import ARCHIVE --data DIR`."
    else:
        remedy = "Save the still with stronger compression or at a smaller size."
    return f"body: got {length} bytes; allowed: {limit} bytes. {remedy}"


def _bounded(receive: Receive, limit: int) -> Receive:
    """``receive`` that gives up once a body of unstated length has passed ``limit``."""
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise HTTPException(413, _too_large(f"more than {limit}", limit))
        return message

    return bounded


def _with_headers(send: Send) -> Send:
    """``send`` that adds the headers which keep other sites out."""

    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _RESPONSE_HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return with_headers
