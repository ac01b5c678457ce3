"""Run the service until it is interrupted."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Callable, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service import log
from service.address import DEFAULT_HOST, DEFAULT_PORT
from service.desk.watching.watch import Opened
from service.position.meant.player_file import player_document, read_player
from service.siblings import CODE, mixed_install
from service.store import FIRST, OVERHEAD
from service.words.lengths import Units
from vision.find.detect import Finder
from vision.name.taught import Taught
from vision.sources.opening import open_source

from .app import create_app
from .beyond import Beyond, reached, tell
from .serving import Server, few_heaps, many_files

_LAST_PORT = 65535


class ServeError(RestmarkError):
    """The address cannot be served on."""

    code = "cannot-serve"


def serve(
    data_dir: Path,
    host: str = DEFAULT_HOST,
    port: int = DEFAULT_PORT,
    *,
    store_url: str | None = None,
    open_calibration: Path | None = None,
    ball_set: Path | None = None,
    units: Units = Units.MM,
    player: Path | None = None,
    watch: str | None = None,
    table_id: int = FIRST,
    finder: Finder | None = None,
    way: Mapping[str, Any] | None = None,
    opened: Opened = open_source,
    beyond: Beyond | None = None,
    workers: int | None = None,
    announce: Callable[[str], None] = print,
    show_code: Callable[[str], None] = print,
    ready: Callable[[str], None] = lambda address: None,
) -> None:
    """Serve ``data_dir`` on ``host`` and ``port`` (0: any free one) until interrupted.

    ``store_url`` names a PostgreSQL database for all but the stills' files.
    ``open_calibration`` is a table file that is set as the calibration first, ``ball_set`` a set
    file that is set as the taught ball set, ``player`` a player file whose settings then hold,
    ``units`` what the page shows lengths in until a reader chooses, ``watch`` a source that is
    watched from the start, ``way`` a practice that is begun, as ``POST /practices`` takes it;
    ``table_id`` is the table that all of these are for. ``opened`` opens sources, ``finder``
    stands in for the shipped one. ``workers``: so many processes read stills, for many
    tables at once; None: this one does. ``beyond`` says how others reach it, where ``host`` is not
    this machine's own. ``announce`` gets the addresses in sentences, and how to pair a device,
    ``show_code`` its code for a phone's camera; ``ready`` the address once it can be asked. Raises
    RestmarkError before it serves.
    """
    few_heaps()
    mixed = mixed_install()
    if mixed is not None:
        raise ServeError(mixed, code=CODE)
    calibration = Calibration.read(open_calibration) if open_calibration is not None else None
    taught = Taught.read(ball_set) if ball_set is not None else None
    hand = read_player(player) if player is not None else None
    listener = bind(host, port)
    with contextlib.closing(listener), log.to_files(data_dir):
        reach = reached(listener, host, beyond or Beyond(), data_dir)
        app = create_app(
            data_dir,
            store_url=store_url,
            host_names=reach.names,
            entry=reach.entry,
            units=units,
            finder=finder,
            opened=opened,
            workers=workers,
        )
        if calibration is not None:
            app.state.desk.set_calibration(calibration.to_dict(), table_id)
        if taught is not None:
            app.state.desk.set_ball_set(taught.to_dict(), table_id)
        if hand is not None:
            app.state.desk.set_player(player_document(hand))
        announce(f"Restmark is at {reach.addresses[0]} (Ctrl+C ends it); data in {data_dir}")
        for warning in app.state.desk.store.warnings:
            announce(f"Warning: {warning}")
        tell(reach, app.state.door, announce, show_code)
        if way is not None:
            app.state.desk.begin_practice(way, table_id)
        if watch is not None:
            with app.state.desk.store.reading() as reader:
                reader.table(table_id)
            app.state.desk.watches.check(watch)
            state = app.state.desk.watches.begin(table_id, watch)
            announce(f"Table {table_id} is watched by {state.source}")
        for (number, camera), state in app.state.desk.kept_watches.resume().items():
            by = "" if camera == OVERHEAD else f"'s camera {camera}"
            announce(f"Table {number}{by} is watched by {state.source}, as before")
        many_files()
        log.event("start", version=version("restmark"), address=reach.addresses[0])
        # it listens already: who asks now waits for the answer
        ready(reach.addresses[0])
        with contextlib.suppress(KeyboardInterrupt):
            Server(app, tls=reach.tls).run(sockets=[listener])
        log.event("stop")


def bind(host: str, port: int) -> socket.socket:
    """A socket that listens on ``host`` and ``port``.

    Raises:
        ServeError: it cannot.
    """
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
