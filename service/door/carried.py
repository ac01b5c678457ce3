"""What a request carries of its device: the cookie's name and kind, and who asks from where."""

from __future__ import annotations

from starlette.datastructures import Headers
from starlette.requests import Request, cookie_parser
from starlette.responses import Response
from starlette.types import Scope

from service.store import DeviceRecord

from .entry import Entry

PLAIN_COOKIE = "restmark-device"
TLS_COOKIE = "__Host-restmark-device"
"""The prefix has browsers hold it to this host, to TLS and to the whole site."""
_COOKIE_S = 400 * 86400
"""As long as browsers keep one; it begins anew with another pairing only."""


def cookie_name(entry: Entry) -> str:
    """The cookie of a service that is entered so."""
    return TLS_COOKIE if entry.is_tls else PLAIN_COOKIE


def token_in(scope: Scope, cookie: str) -> tuple[str, bool]:
    """The token that a request shows, empty for none, and whether it came as a cookie."""
    headers = Headers(scope=scope)
    kind, _, given = headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer":
        return given.strip(), False
    return cookie_parser(headers.get("cookie", "")).get(cookie, ""), True


def give_cookie(entry: Entry, response: Response, token: str) -> None:
    """Have a browser keep ``token`` and show it from now on."""
    response.set_cookie(
        cookie_name(entry),
        token,
        max_age=_COOKIE_S,
        path="/",
        secure=entry.is_tls,
        httponly=True,
        samesite="strict",
    )


def source_of(scope: Scope) -> str:
    """The address that a request comes from."""
    client = scope.get("client")
    return client[0] if client else ""


def device_of(request: Request) -> DeviceRecord | None:
    """The device that asks; None where this machine alone is served, and nobody is paired."""
    found = getattr(request.state, "device", None)
    assert found is None or isinstance(found, DeviceRecord)
    return found
