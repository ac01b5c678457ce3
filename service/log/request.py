"""The request that is being answered, wherever in the service its answer is made."""

from __future__ import annotations

import re
import secrets
from contextvars import ContextVar
from dataclasses import dataclass

_GIVEN = re.compile(r"[A-Za-z0-9._-]{1,64}")
_ID_BYTES = 6


@dataclass(slots=True, kw_only=True)
class Asked:
    """One request."""

    id: str
    problem: str | None = None
    """Code of the problem that answered it."""


_asked: ContextVar[Asked | None] = ContextVar("asked", default=None)


def begin(given: str | None) -> Asked:
    """A request begins; ``given`` is the name its sender gave it, taken where it is a plain one."""
    is_plain = given is not None and _GIVEN.fullmatch(given)
    now = Asked(id=given if is_plain and given else secrets.token_hex(_ID_BYTES))
    _asked.set(now)
    return now


def asked() -> Asked | None:
    """The request that is being answered; None outside of one."""
    return _asked.get()
