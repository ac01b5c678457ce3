"""The server: looks over its connections, and ends listeners' streams before it waits for them."""

from __future__ import annotations

import asyncio
import functools
import socket
import ssl
from typing import Any

import uvicorn
from fastapi import FastAPI

from .limits import Limits
from .patient import PatientConfig, PatientProtocol, make_room

_LAST_WORDS_S = 5
"""How long a stop waits for answers that are under way."""
_LOOKS_EVERY = 5
"""Of uvicorn's ticks, ten a second."""


class Server(uvicorn.Server):
    """uvicorn's server with limits on slow and silent connections."""

    def __init__(
        self, app: FastAPI, *, limits: Limits | None = None, tls: ssl.SSLContext | None = None
    ) -> None:
        """``tls``: speak it on every connection; None: none."""
        config = PatientConfig(
            app,
            http=PatientProtocol,
            log_level="warning",
            access_log=False,
            server_header=False,
            ws="none",
            timeout_graceful_shutdown=_LAST_WORDS_S,
        )
        config.limits = self._limits = limits or Limits()
        config.timeout_keep_alive = config.limits.idle_s  # type: ignore[assignment]
        super().__init__(config)
        self._app = app
        self._tls = tls

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        config = self.config
        assert isinstance(config, PatientConfig)
        if self._tls is not None:
            config.ssl = self._tls
            loop = asyncio.get_running_loop()
            # uvicorn leaves a handshake a minute, in which nobody else has the connection
            create: Any = functools.partial(
                loop.create_server, ssl_handshake_timeout=config.limits.handshake_s
            )
            loop.create_server = create  # type: ignore[method-assign]
        await super().startup(sockets)

    async def on_tick(self, counter: int) -> bool:
        """Look over all connections."""
        if counter % _LOOKS_EVERY == 0:
            now_s = asyncio.get_running_loop().time()
            held = [
                each for each in self.server_state.connections if isinstance(each, PatientProtocol)
            ]
            for each in held:
                each.look(now_s)
            make_room(held, self._limits, now_s)
        return await super().on_tick(counter)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop."""
        self._app.state.desk.live.close()
        await super().shutdown(sockets)
