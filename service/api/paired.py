"""Only paired devices come further, and each does what its role may.

A device shows its token as a bearer, or a browser its cookie. The cookie is HttpOnly and
SameSite=Strict, Secure where TLS is spoken; what changes something with a cookie must besides say
by Origin or Sec-Fetch-Site that the service's own page asks. Every browser that can show these
pages sends one of them, no page of another site can forge either, and neither is needed with a
bearer token, which no browser adds by itself: so no further token stands in forms.
"""

from __future__ import annotations

from http import HTTPStatus

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from calibration.errors import RestmarkError
from service.door import ROLE_WORDS, Door, Entry, Role, least_role
from service.door.carried import cookie_name, source_of, token_in
from service.store import DeviceRecord

from .gate import SAFE_METHODS
from .problems import refused

PAIR_PATH = "/pair"
OPEN_PATHS = frozenset(
    {
        PAIR_PATH,
        "/api/v1/pair",
        "/static/page.css",
        "/static/door/door.css",
        "/static/door/pair.js",
        "/static/mark.svg",
        "/static/mark-192.png",
        # browsers fetch it without cookies
        "/static/app.webmanifest",
    }
)
"""What a device needs before it is paired; the same in every install, and nothing of this one."""


class PairedOnly:
    """ASGI middleware inside the gate."""

    def __init__(self, app: ASGIApp, *, door: Door, entry: Entry) -> None:
        self._app = app
        self._door = door
        self._cookie = cookie_name(entry)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on with its device, or refuse it."""
        if scope["type"] != "http" or scope["path"] in OPEN_PATHS:
            await self._app(scope, receive, send)
            return
        token, is_cookie = token_in(scope, self._cookie)
        try:
            device = await self._device(token, scope)
        except RestmarkError as wrong:  # the store cannot be asked
            await _refuse(scope, receive, send, wrong.code, wrong.detail)
            return
        if device is None:
            await self._ask_in(scope, receive, send)
            return
        scope.setdefault("state", {})["device"] = device
        refusal = _refusal(scope, device, is_cookie=is_cookie)
        if refusal is not None:
            await _refuse(scope, receive, send, *refusal)
            return
        await self._app(scope, receive, self._while_paired(token, scope, send))

    async def _device(self, token: str, scope: Scope) -> DeviceRecord | None:
        if not token:
            return None
        device = self._door.remembered(token)
        if device is None:
            source = source_of(scope)
            device = await run_in_threadpool(lambda: self._door.known(token, source=source))
        return device

    def _while_paired(self, token: str, scope: Scope, send: Send) -> Send:
        """``send`` that ends a long answer, live changes above all, when the device is revoked."""
        is_out = False

        async def guarded(message: Message) -> None:
            nonlocal is_out
            if is_out:
                return
            if message["type"] == "http.response.body" and message.get("more_body"):
                try:
                    is_out = await self._device(token, scope) is None
                except RestmarkError:
                    is_out = True
                if is_out:
                    await send({"type": "http.response.body", "body": b"", "more_body": False})
                    return
            await send(message)

        return guarded

    async def _ask_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        is_page = scope["method"] in SAFE_METHODS and "text/html" in headers.get("accept", "")
        if is_page and not scope["path"].startswith("/api/"):
            response: Response = RedirectResponse(PAIR_PATH, HTTPStatus.SEE_OTHER)
            response.headers["Cache-Control"] = "no-store"
            await response(scope, receive, send)
            return
        await _refuse(
            scope, receive, send, "not-paired",
            "This device is not paired with the service, or no longer; allowed: paired devices. "
            f"Open {PAIR_PATH} in its browser, or give a program a token of "
            "`restmark devices token` (RESTMARK_TOKEN).",
        )  # fmt: skip


def _refusal(scope: Scope, device: DeviceRecord, *, is_cookie: bool) -> tuple[str, str] | None:
    method, path = scope["method"], scope["path"]
    role, least = Role(device.role), least_role(method, path)
    if not role.may(least):
        return "role-not-enough", (
            f"{method} {path}: this device, {device.name!r}, is paired as {role}, which "
            f"{ROLE_WORDS[role]}; allowed: {least} and more. Have an owner pair it anew as that."
        )
    headers = Headers(scope=scope)
    is_told = "origin" in headers or headers.get("sec-fetch-site") == "same-origin"
    if is_cookie and method not in SAFE_METHODS and not is_told:
        return "foreign-origin", (
            "Origin: missing beside a cookie; allowed: this service's own page, or a program with "
            "a token as `Authorization: Bearer …`. Use one of them."
        )
    return None


async def _refuse(scope: Scope, receive: Receive, send: Send, code: str, detail: str) -> None:
    headers = {"WWW-Authenticate": 'Bearer realm="restmark"'} if code == "not-paired" else None
    response = refused(Request(scope), code, detail, headers=headers)
    await response(scope, receive, send)
