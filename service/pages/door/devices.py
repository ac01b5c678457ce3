"""The devices that are let in: who they are, a code for another one, and shutting one out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse

from service import clock
from service.door import CODE_LASTS, ROLE_WORDS, Door, Entry, Role
from service.door.carried import device_of
from service.door.qr import pairing_address, qr_svg
from service.store import DeviceRecord

from ..frame import Site
from ..frame.strip import clock_words

_JUST_NOW = timedelta(minutes=2)


def install(site: Site) -> None:
    """Add the page and its parts to the site."""
    entry: Entry = site.app.state.entry
    door: Door = site.app.state.door

    def view(request: Request) -> dict[str, Any]:
        this = device_of(request)
        return {
            "devices": [_row(each, this) for each in door.devices()],
            "roles": [(role, ROLE_WORDS[role]) for role in (Role.TABLE, Role.VIEWER, Role.OWNER)],
            "minutes": CODE_LASTS.seconds // 60,
            "entry": entry,
        }

    @site.app.get("/devices", include_in_schema=False)
    async def devices(request: Request) -> HTMLResponse:
        return await site.page("door/devices.html", request, lambda *_: view(request))

    @site.app.get("/devices/list", include_in_schema=False)
    async def listed(request: Request) -> HTMLResponse:
        return await site.part("door/listed.html", request, lambda *_: view(request))

    @site.app.post("/devices/code", include_in_schema=False)
    async def code(request: Request, role: Role = Role.TABLE) -> Response:

        def make(*_: object) -> dict[str, Any]:
            made = door.new_code(role)
            address = pairing_address(entry.address, made.code)
            return {
                "code": made.code,
                "role": role,
                "address": entry.address,
                "until": clock_words(made.ends_at),
                "svg": qr_svg(address),
                "entry": entry,
            }

        return await site.part("door/code.html", request, make)


def _row(device: DeviceRecord, this: DeviceRecord | None) -> dict[str, Any]:
    """A device as the list shows it."""
    now = clock.now()
    seen = device.seen_at
    words = "not seen yet"
    if seen is not None:
        words = "now" if now - seen < _JUST_NOW else clock_words(seen)
        words += f", from {device.seen_from}" if device.seen_from else ""
    return {
        "id": device.id,
        "name": device.name,
        "role": device.role,
        "paired": clock_words(device.paired_at),
        "seen": words,
        "this": this is not None and this.id == device.id,
    }
