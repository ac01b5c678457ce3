"""Pairing, and the devices that are let in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool

from service.door import Door, Entry
from service.door.carried import device_of, source_of
from service.door.qr import pairing_address
from service.store import DeviceRecord

from ... import models as m
from ...deps import Number
from ...documents import DocumentRoute

router = APIRouter(route_class=DocumentRoute, tags=["devices"])


def _door(request: Request) -> Door:
    door = request.app.state.door
    assert isinstance(door, Door)
    return door


DoorDep = Annotated[Door, Depends(_door)]


@router.post("/pair", status_code=201, response_model=m.Paired)
async def post_pair(request: Request, door: DoorDep, asked: m.PairAsked) -> dict[str, Any]:
    """Pair a device by a code; its token goes into every later request as a bearer token.

    A code pairs one device within 15 minutes, and may be tried five times a minute. Browsers use
    the page `/pair`, which keeps the token in a cookie.
    """
    token, device = await run_in_threadpool(
        lambda: door.pair(asked.code, asked.name, source=source_of(request.scope))
    )
    return {"token": token, "device": _body(device, device)}


@router.get("/devices", response_model=m.Devices)
def list_devices(request: Request, door: DoorDep) -> dict[str, Any]:
    """Devices that are let in, newest first. For owners."""
    this = device_of(request)
    return {"devices": [_body(each, this) for each in door.devices()]}


@router.post("/devices/codes", status_code=201, response_model=m.CodeOut)
def post_code(request: Request, door: DoorDep, asked: m.CodeAsked) -> dict[str, Any]:
    """Make a code that pairs one device within 15 minutes. For owners."""
    made = door.new_code(asked.role)
    entry: Entry | None = request.app.state.entry
    address = None if entry is None else pairing_address(entry.address, made.code)
    return {"code": made.code, "role": made.role, "ends_at": made.ends_at, "address": address}


@router.delete("/devices/{number}", response_model=m.DeviceOut)
def delete_device(number: Number, request: Request, door: DoorDep) -> dict[str, Any]:
    """Let a device in no longer; what it listens to ends, too. For owners."""
    return _body(door.revoke(number), device_of(request))


def _body(device: DeviceRecord, this: DeviceRecord | None) -> dict[str, Any]:
    return device.to_dict() | {"this": this is not None and this.id == device.id}
