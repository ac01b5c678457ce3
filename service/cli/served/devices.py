"""``devices``: which devices a service beyond this machine lets in."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..app import app, guarded
from ..console import print_json, say
from ..given.options import JSON, STORE
from .moving import DATA

if TYPE_CHECKING:
    from service.door import Door

_DATA = Path("restmark-data")
devices_app = typer.Typer(
    help="Which devices a service that others reach lets in. Works on the folder, whether the "
    "service runs or not.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(devices_app, name="devices")


class RoleGiven(StrEnum):
    """What a device may do."""

    viewer = "viewer"
    table = "table"
    owner = "owner"


ROLE = Annotated[
    RoleGiven,
    typer.Option(
        "--role",
        help="viewer: looks on; table: practises; owner: everything.",
        show_default=True,
    ),
]


@devices_app.command(name="list")
@guarded
def list_(data: DATA = _DATA, store: STORE = None, as_json: JSON = False) -> None:
    """The devices that are let in, newest first."""
    with _door(data, store) as door:
        found = door.devices()
    if as_json:
        print_json({"devices": [each.to_dict() for each in found]})
        return
    for each in found:
        seen = "not seen yet" if each.seen_at is None else f"seen {each.seen_at.astimezone():%c}"
        say(f"{each.id}: {each.name}, {each.role}, {seen}")
    if not found:
        say("no device is paired")


@devices_app.command()
@guarded
def revoke(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="As `devices list` says it.")],
    data: DATA = _DATA,
    store: STORE = None,
) -> None:
    """Let a device in no longer; a running service knows within two seconds."""
    with _door(data, store) as door:
        device = door.revoke(number)
    say(f"{device.id}: {device.name} is let in no longer")


@devices_app.command()
@guarded
def code(role: ROLE = RoleGiven.table, data: DATA = _DATA, store: STORE = None) -> None:
    """A code that pairs one device within 15 minutes: type it on the service's page /pair."""
    from service.door import Role

    with _door(data, store) as door:
        made = door.new_code(Role(role))
    say(f"{made.code}  ({made.role}, until {made.ends_at.astimezone():%H:%M})")


@devices_app.command()
@guarded
def token(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What is to be called so.")],
    role: ROLE = RoleGiven.table,
    data: DATA = _DATA,
    store: STORE = None,
) -> None:
    """A token for a program, printed once: give it as RESTMARK_TOKEN, or as `--token`."""
    from service.door import Role

    with _door(data, store) as door:
        made, _ = door.add_device(name.strip()[:100] or "A program", Role(role))
    say(made)


@contextlib.contextmanager
def _door(data: Path, store: str | None) -> Iterator[Door]:
    from service.door import Door
    from service.store import Store

    with (
        contextlib.closing(Store(data, store, must_exist=True)) as held,
        contextlib.closing(Door(held)) as door,
    ):
        yield door
