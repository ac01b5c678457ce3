"""Devices that are let in, and codes that pair."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from service.called import Name
from service.door import Role


class DeviceOut(BaseModel):
    """A device that was paired."""

    id: int
    name: str
    role: Annotated[
        Role, Field(description="viewer: looks on; table: practises; owner: everything.")
    ]
    paired_at: datetime
    seen_at: Annotated[datetime | None, Field(description="Within some minutes.")]
    seen_from: Annotated[str | None, Field(description="The address that it asked from.")]
    revoked_at: Annotated[datetime | None, Field(description="From then on it is not let in.")]
    this: Annotated[bool, Field(description="The one that asks.")] = False


class Devices(BaseModel):
    """Devices that are let in, newest first."""

    devices: list[DeviceOut]


class CodeAsked(BaseModel):
    """What a code is for."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"role": "table"}]})

    role: Role = Role.TABLE


class CodeOut(BaseModel):
    """A code that pairs one device; it is told once."""

    code: str
    role: Role
    ends_at: datetime
    address: Annotated[
        str | None, Field(description="What the device opens; null: only this machine is served.")
    ]


class PairAsked(BaseModel):
    """A device that wants in."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"examples": [{"code": "ABCD-2345", "name": "Tablet at the table"}]},
    )

    code: Annotated[str, Field(min_length=1, max_length=40)]
    name: Name


class Paired(BaseModel):
    """The device, and the token that it shows from now on; it is told once."""

    token: str
    device: DeviceOut
