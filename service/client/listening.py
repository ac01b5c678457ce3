"""Server-sent events as values, over lost connections and restarts of the service."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

import httpx2

from .asking import FIRST_PAUSE_S, LONGEST_PAUSE_S, Asking
from .problems import ServiceError
from .values import Event

SILENCE_S = 40.0
"""Without a sign of life for so long the connection counts as lost; the service gives one more
often."""
_LOST = frozenset({"service-unreachable", "store-failed"})


def listen(asking: Asking, *, after: int | None, table: int | None) -> Iterator[Event]:
    """Changes from now on, or those after number ``after``; goes on after every lost connection.

    Ends when whoever listens does. Raises ServiceError where the service refuses.
    """
    last, pause_s = after, FIRST_PAUSE_S
    while True:
        try:
            for event in _heard(asking, last, table):
                pause_s = FIRST_PAUSE_S
                last = last if event.number is None else event.number
                yield event
        except ServiceError as refusal:
            if refusal.code not in _LOST:
                raise
        time.sleep(pause_s)
        pause_s = min(2 * pause_s, LONGEST_PAUSE_S)


def _heard(asking: Asking, last: int | None, table: int | None) -> Iterator[Event]:
    """Events of one connection."""
    headers = {"Accept": "text/event-stream"}
    if last is not None:
        headers["Last-Event-ID"] = str(last)
    params = {} if table is None else {"table": table}
    waits = httpx2.Timeout(10.0, read=SILENCE_S)
    with asking.stream("GET", "/events", params=params, headers=headers, timeout=waits) as answer:
        told: dict[str, str] = {}
        for line in answer.iter_lines():
            if line and not line.startswith(":"):
                name, _, value = line.partition(":")
                told[name] = value.removeprefix(" ")
            elif not line and "data" in told:
                yield _event(told)
                told = {}


def _event(told: dict[str, str]) -> Event:
    data: dict[str, Any] = json.loads(told["data"])
    kind = data.pop("kind")
    number = told.get("id", "")
    return Event(number=int(number) if number.isdigit() else None, kind=kind, ids=data)
