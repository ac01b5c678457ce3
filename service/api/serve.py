"""Run the service until it is interrupted."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.address import DEFAULT_HOST, DEFAULT_PORT
from service.position.meant.player_file import player_document, read_player
from service.siblings import CODE, mixed_install
from service.words.lengths import Units
from vision.name.taught import Taught

from .app import create_app
from .gate import LOOPBACK_NAMES

_LAST_PORT = 65535
_LAST_WORDS_S = 5
"""How long a stop waits for answers that are under way."""


class ServeError(RestmarkError):
    """The address cannot be served on."""

    code = "cannot-serve"


class Server(uvicorn.Server):
    """Ends the listeners' streams before it waits for open connections."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                log_level="warning",
                access_log=False,
                server_header=False,
                ws="none",
                timeout_graceful_shutdown=_LAST_WORDS_S,
            )
        )
        self._app = app

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop."""
        self._app.state.desk.live.close()
        await super().shutdown(sockets)


def serve(
    data_dir: Path,
    host: str = DEFAULT_HOST,
    port: int = DEFAULT_PORT,
    *,
    open_calibration: Path | None = None,
    ball_set: Path | None = None,
    units: Units = Units.MM,
    player: Path | None = None,
    announce: Callable[[str], None] = print,
) -> None:
    """Serve ``data_dir`` on ``host`` and ``port`` (0: any free one) until interrupted.

    ``open_calibration`` is a table file that is set as the calibration first, ``ball_set`` a set
    file that is set as the taught ball set, ``player`` a player file whose settings then hold,
    ``units`` what the page shows lengths in until a reader chooses. ``announce`` gets the address,
    and a warning where others can reach it. Raises RestmarkError before it serves.
    """
    mixed = mixed_install()
    if mixed is not None:
        raise ServeError(mixed, code=CODE)
    calibration = Calibration.read(open_calibration) if open_calibration is not None else None
    taught = Taught.read(ball_set) if ball_set is not None else None
    hand = read_player(player) if player is not None else None
    listener = bind(host, port)
    with contextlib.closing(listener):
        is_loopback = _is_loopback(host)
        app = create_app(
            data_dir,
            host_names=LOOPBACK_NAMES if is_loopback else {*LOOPBACK_NAMES, *_own_names(host)},
            any_address=not is_loopback,
            units=units,
        )
        if calibration is not None:
            app.state.desk.set_calibration(calibration.to_dict())
        if taught is not None:
            app.state.desk.set_ball_set(taught.to_dict())
        if hand is not None:
            app.state.desk.set_player(player_document(hand))
        announce(f"Restmark is at {address(listener)} (Ctrl+C ends it); data in {data_dir}")
        for warning in app.state.desk.stills_check.warnings:
            announce(f"Warning: {warning}")
        if not is_loopback:
            announce(
                f"Warning: {host} can be reached by others, and there is no login: whoever "
                "reaches it sees all stills and can change everything. Use 127.0.0.1 unless you "
                "trust the whole network."
            )
        with contextlib.suppress(KeyboardInterrupt):
            Server(app).run(sockets=[listener])


def bind(host: str, port: int) -> socket.socket:
    """A socket that listens on ``host`` and ``port``; ServeError where it cannot."""
    listener = None
    try:
        if not 0 <= port <= _LAST_PORT:
            raise OSError("no such port")  # the resolver would fold it into range
        family, kind, protocol, _, place = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind, protocol)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(place)
        listener.listen()
    except OSError as wrong:
        if listener is not None:
            listener.close()
        raise ServeError(
            f"{host} port {port}: cannot be served on ({wrong}); allowed: an address of this "
            "machine and a free port from 1 to 65535. Give another --host or --port."
        ) from None
    return listener


def address(listener: socket.socket) -> str:
    """What to type into a browser on this machine."""
    host, port = listener.getsockname()[:2]
    if ipaddress.ip_address(host).is_unspecified:
        host = "127.0.0.1" if listener.family == socket.AF_INET else "::1"
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def _own_names(host: str) -> set[str]:
    own = socket.gethostname()
    return {host, own, f"{own}.local"}
