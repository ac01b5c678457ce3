"""Routes that take a JSON document, and say so where a still comes instead."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute

from calibration.jsonfile import refuse_picture

_WANTED = {
    "calibration": "the table.json that `restmark calibrate STILL --surface 9ft --out table.json` "
    "makes of a still of the empty table. Run it, and send that file",
}
_JSON = "a JSON document as /api/v1/openapi.json says. Send one"


class DocumentRoute(APIRoute):
    """A route whose PUT bodies are JSON: the framework cannot say what else was sent."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The framework's handler, after a look at the body."""
        handler = super().get_route_handler()

        async def handle(request: Request) -> Response:
            if request.method == "PUT":
                what = request.url.path.rsplit("/", 1)[-1]
                allowed = _WANTED.get(
                    what, "a JSON document as /api/v1/openapi.json says. Send one"
                )
                refuse_picture(await request.body(), path=what, allowed=f"{allowed}.")
            return await handler(request)

        return handle
