"""``read``, ``session`` and ``progress`` with ``--server``: a running service does the work."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import RestmarkError

from ..app import REFUSED
from ..console import complain, print_json, say, tracked
from ..given.inputs import InputError, folder_entries, read_bytes
from ..given.layouts import error_object

if TYPE_CHECKING:
    from service.client import Arrival, Attempt, Client
    from service.position import Intent
    from service.practice import Plan
    from service.words.lengths import Units

SERVER = Annotated[
    str | None,
    typer.Option(
        "--server",
        metavar="URL",
        help="Ask the running service at this address, http://127.0.0.1:8765 for instance; it "
        "keeps what it is sent.",
    ),
]
AT_TABLE = Annotated[
    int | None,
    typer.Option("--table", min=1, help="With --server: number of the table that is meant."),
]


TOKEN = Annotated[
    str | None,
    typer.Option(
        "--token",
        metavar="TOKEN",
        envvar="RESTMARK_TOKEN",
        help="With --server, where others reach the service: what `restmark devices token` "
        "printed there. In the environment no other program of this machine sees it.",
    ),
]
TRUST = Annotated[
    Path | None,
    typer.Option(
        "--trust",
        metavar="FILE",
        envvar="RESTMARK_TRUST",
        help="With --server https://…: the service's own certificate, tls/certificate.pem of its "
        "data folder; default: those that this system knows.",
    ),
]


@dataclass(frozen=True, slots=True)
class Service:
    """Which service is asked, and what it is shown."""

    address: str
    token: str | None = None
    trust: Path | None = None
    table: int | None = None


def asked(
    server: str | None, token: str | None, trust: Path | None, table: int | None = None
) -> Service | None:
    """The service that was named; None where none was."""
    return None if server is None else Service(server, token, trust, table)


def client(service: Service) -> Client:
    """The service that was named."""
    from service.client import Client

    return Client(service.address, table=service.table, token=service.token, trust=service.trust)


def refuse_beside_server(**given: object) -> None:
    """Refuse options that the service settles itself.

    Raises:
        InputError: one was given.
    """
    for name, value in given.items():
        if value not in (None, False):
            raise InputError(
                f"--{name}: cannot stand beside --server; allowed: what the service holds itself. "
                "Leave one of them away."
            )


def read_there(at: Service, stills: Sequence[Path], *, units: Units, as_json: bool) -> None:
    """Have every still read by the service; what cannot be read is said and the others go on.

    Raises:
        typer.Exit: status 1; some could not be read.
        ServiceError: the service is not there.
    """
    from ..printing import print_layout

    failed = False
    with client(at) as service:
        for path in tracked(stills, "sending stills"):
            try:
                arrival = service.send_still(read_bytes(path), name=path.name)
            except RestmarkError as refused:
                unless_all_is_lost(refused)
                failed = True
                complain(refused.detail)
                if as_json:
                    print_json({"still": str(path), "error": error_object(refused)})
                continue
            layout = replace(arrival.reading.layout, still=str(path))
            if as_json:
                print_json(layout.to_dict())
            else:
                print_layout(layout, units)
    if failed:
        raise typer.Exit(REFUSED)


def session_there(at: Service, folder: Path, plan: Plan, *, as_json: bool) -> None:
    """Send a folder's stills in their order, the plan's intents between them.

    Sent again, what arrived before counts once: every still has a key of its own.

    Raises:
        InputError: the folder is no session, or holds layouts.
        typer.Exit: status 1; some could not be read.
        ServiceError: the service is not there.
    """
    entries = folder_entries(folder)
    from service.practice.pairing import role_of

    if any(entry.still is None for entry in entries):
        raise InputError(
            f"{folder}: holds layouts; allowed with --server: a folder of stills. Give one."
        )
    failed, shots = False, iter(plan.shots)
    with client(at) as service:
        for entry in tracked(entries, "sending stills"):
            data = entry.still or b""
            try:
                arrival = service.send_still(data, name=entry.name, key=_key(entry.name, data))
                _print_arrival(entry.name, arrival, as_json=as_json)
                if role_of(entry.name) != "after" and not arrival.is_replay:
                    _set_next(service, shots)
            except RestmarkError as refused:
                unless_all_is_lost(refused)
                failed = True
                complain(f"{entry.name}: {refused.detail}")
                if as_json:
                    print_json({"still": entry.name, "error": error_object(refused)})
    if failed:
        raise typer.Exit(REFUSED)


def progress_there(at: Service, *, same_shots: bool, as_json: bool) -> None:
    """The service's sessions over weeks."""
    with client(at) as service:
        found = service.progress(same_shots=same_shots)
    if as_json:
        print_json(found)
        return
    for line in found["words"]:
        say(line)


def _set_next(service: Client, shots: Iterator[Intent | None]) -> None:
    """The plan's next intent, unless one waits for its shot; a shot without one is let be."""
    if service.intent() is None and (intent := next(shots, None)) is not None:
        service.set_intent(intent.to_dict())


def _print_arrival(name: str, arrival: Arrival, *, as_json: bool) -> None:
    if as_json:
        said = arrival.document
        print_json({"still": name} | {key: said.get(key) for key in ("attempt", "outcome")})
        return
    if arrival.is_replay:
        say(f"{name}: had arrived before")
    elif arrival.attempt is not None:
        say(f"{name}: attempt {arrival.attempt.id}: {_verdict_words(arrival.attempt)}")
    else:
        outcome = arrival.document.get("outcome") or {}
        balls = len(arrival.reading.layout.balls)
        say(f"{name}: {outcome.get('detail') or f'{balls} balls'}")


def _verdict_words(attempt: Attempt) -> str:
    said = attempt.verdict or "not judged"
    return f"{said} by {attempt.miss_mm:.0f} mm" if attempt.miss_mm else said


def _key(name: str, data: bytes) -> str:
    """What a file is known by when it is sent again."""
    return f"file:{hashlib.sha256(name.encode() + bytes(1) + data).hexdigest()}"


def unless_all_is_lost(refused: RestmarkError) -> None:
    """A service that is not there will not be there for the next still either.

    Raises:
        RestmarkError: what was refused, where the service is not there.
    """
    if refused.code in ("service-unreachable", "bad-answer", "bad-address"):
        raise refused
