"""Every request has an id: its answer and the log name it, so that a fault can be found again."""

from __future__ import annotations

import logging
import time

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service import log

from .problems import REQUEST_ID

_NOT_TOLD = ("/static/",)
"""Paths whose good answers say nothing."""


class AskedBy:
    """ASGI middleware around everything else."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Give the request its id, and tell the log how it was answered."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        now, began, status = log.begin(Headers(scope=scope).get(REQUEST_ID)), time.monotonic(), 0

        async def with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[REQUEST_ID] = now.id
            await send(message)

        fault: Exception | None = None
        try:
            await self._app(scope, receive, with_id)
        except Exception as failed:
            fault, status = failed, 500
            raise
        finally:
            path = scope["path"]
            told = {
                "method": scope["method"],
                "path": path,
                "status": status,
                "ms": round((time.monotonic() - began) * 1e3, 1),
            } | ({"problem": now.problem} if now.problem else {})
            if fault is not None:
                log.failure("request", fault, **told)
            elif status >= 500:
                log.event("request", level=logging.ERROR, **told)
            elif status >= 400 or not path.startswith(_NOT_TOLD):
                log.event("request", **told)
