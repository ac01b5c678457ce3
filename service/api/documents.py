"""Routes that take a JSON document: read by the one strict parser, as the commands' files are."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute

from calibration import strict
from calibration.errors import RestmarkError
from calibration.jsonfile import refuse_picture

_JSON = "a JSON document as /api/v1/openapi.json says. Send one"
_WANTED = {
    "calibration": "the table.json that `restmark calibrate STILL --surface 9ft --out table.json` "
    "makes of a still of the empty table. Run it, and send that file",
}


class DocumentError(RestmarkError):
    """A body that is no JSON, or JSON nested or long without end."""

    code = "bad-request"


def _check_is_json(request: Request) -> None:
    """The framework takes a body of another kind for a text, and says that of its fields."""
    given = request.headers.get("content-type", "")
    kind = given.partition(";")[0].strip().lower()
    if kind != "application/json" and not kind.endswith("+json"):
        got = f"got {given[:60]!r}" if given else "missing"
        raise DocumentError(
            f"Content-Type: {got}; allowed: application/json. Send the document as that.",
            code="unsupported-media",
        )


class DocumentRoute(APIRoute):
    """A route whose JSON bodies are looked at first: the framework cannot say what is wrong."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The framework's handler, after a look at the body."""
        handler = super().get_route_handler()
        takes_json = self.body_field is not None

        async def handle(request: Request) -> Response:
            what = request.url.path.rsplit("/", 1)[-1]
            if request.method == "PUT":
                allowed = _WANTED.get(what, _JSON)
                refuse_picture(await request.body(), path=what, allowed=f"{allowed}.")
            if takes_json and (body := await request.body()):
                _check_is_json(request)
                strict.parse(
                    body,
                    place=what,
                    what="a JSON document as /api/v1/openapi.json says",
                    remedy="Correct it.",
                    error=DocumentError,
                )
            return await handler(request)

        return handle
