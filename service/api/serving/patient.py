"""One connection that is patient, up to a point.

uvicorn limits the pause between two requests only. Here a request's head, its body and whoever
should take in an answer have limits too: the server looks over all connections twice a second, and
each says by itself what it is waiting for. Too slow a sender is told 408 where an answer can still
be sent, and closed.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import defaultdict
from collections.abc import Collection
from http import HTTPStatus
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from .limits import Limits

_LEAST_READ_BYTES = 16_000
"""So much of an answer must be taken in within the limit."""
_JUST_COME_S = 1.0
_TIMEOUT = HTTPStatus.REQUEST_TIMEOUT
_TOO_SLOW = "The request came too slowly. Send it again over a better connection."
_TOO_MANY = "All connections are in use. Try again in a moment."


class PatientConfig(uvicorn.Config):
    """uvicorn's settings, and our limits beside them."""

    limits: Limits = Limits()


class PatientProtocol(H11Protocol):
    """HTTP/1.1 on one connection, with limits on every wait."""

    def __init__(self, config: uvicorn.Config, *arguments: Any, **settings: Any) -> None:
        super().__init__(config, *arguments, **settings)
        assert isinstance(config, PatientConfig)
        self._limits = config.limits
        self._since_s = self.loop.time()
        """When what is waited for now began: a head, a body, room for an answer, the end."""
        self._waits_for = "head"
        self._body_bytes = 0
        self._left_bytes = 0
        self._answered_s: float | None = None
        """When a request was answered whose body goes on."""
        self._last_byte_s = self._since_s
        self._looked_s = self._since_s

    # -- what happens on the connection ----------------------------------------------------

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take it, unless there are far too many."""
        super().connection_made(transport)
        self._since_s = self._last_byte_s = self._looked_s = self.loop.time()
        if len(self.connections) > self._limits.connections + self._limits.burst:
            self.give_up(HTTPStatus.SERVICE_UNAVAILABLE, _TOO_MANY)

    @property
    def address(self) -> str:
        """Where it comes from, without the port."""
        return self.client[0] if self.client else ""

    def data_received(self, data: bytes) -> None:
        """Take bytes in."""
        self._last_byte_s = self.loop.time()
        if self._waits_for == "next":
            self._wait_for("head", self._last_byte_s)
        if self.conn.their_state is h11.SEND_BODY:
            self._body_bytes += len(data)
        super().data_received(data)

    def on_response_complete(self) -> None:
        """Wait for the next request."""
        if self.conn.their_state is not h11.SEND_BODY:
            self._wait_for("next", self.loop.time())
            self._body_bytes = 0
        else:
            self._answered_s = self.loop.time()
        super().on_response_complete()

    def pause_writing(self) -> None:
        """Wait until more of the answer is taken in."""
        super().pause_writing()
        self._wait_for("reader", self.loop.time())
        self._left_bytes = self.transport.get_write_buffer_size()

    def resume_writing(self) -> None:
        """Go on with the answer."""
        super().resume_writing()
        self._wait_for("answer", self.loop.time())

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP, also in the middle of a body or an answer."""
        self.give_up(HTTPStatus.BAD_REQUEST, msg)

    # -- patience --------------------------------------------------------------------------

    @property
    def waited_since_s(self) -> float | None:
        """Since when a whole request is waited for; None while one is being answered."""
        if self._is_answering():
            return None
        return self._since_s

    def look(self, now_s: float) -> None:
        """Close it where it has taken too long over whatever it is at."""
        limits, passed_s = self._limits, now_s - self._looked_s
        self._looked_s = now_s
        waits_for = self._now_waits_for()
        if waits_for != self._waits_for:
            self._wait_for(waits_for, now_s)
            return
        waited_s = now_s - self._since_s
        if waits_for == "end" and waited_s > limits.closing_s:
            self.transport.abort()
        elif waits_for == "reader":
            self._look_at_reader(now_s)
        elif waits_for == "head" and waited_s > limits.header_s:
            self.give_up(_TIMEOUT, _TOO_SLOW)
        elif waits_for == "body":
            self._look_at_body(now_s, passed_s)

    def _look_at_reader(self, now_s: float) -> None:
        left_bytes = self.transport.get_write_buffer_size()
        if left_bytes <= self._left_bytes - _LEAST_READ_BYTES:
            self._since_s, self._left_bytes = now_s, left_bytes
        elif now_s - self._since_s > self._limits.unread_s:
            self.transport.abort()

    def _look_at_body(self, now_s: float, passed_s: float) -> None:
        limits, cycle = self._limits, self.cycle
        if self._answered_s is not None and now_s - self._answered_s > limits.rest_s:
            self.transport.abort()
            return
        if self.flow.read_paused or (cycle is not None and cycle.waiting_for_100_continue):
            # the service itself is not taking in
            self._since_s += passed_s
            self._last_byte_s += passed_s
            return
        allowed_s = limits.grace_s + self._body_bytes / limits.floor_bytes_s
        if now_s - self._since_s > allowed_s or now_s - self._last_byte_s > limits.stall_s:
            self.give_up(_TIMEOUT, _TOO_SLOW)

    def give_up(self, status: HTTPStatus, words: str) -> None:
        """Close the connection; say why where a request had begun and no answer has."""
        cycle = self.cycle
        is_running = cycle is not None and not cycle.response_complete
        has_begun = is_running or bool(self.conn.trailing_data[0]) or status != _TIMEOUT
        can_say = has_begun and self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE)
        can_say = can_say and not (is_running and cycle.response_started)
        if is_running:
            # the application meets a client that has gone
            cycle.disconnected = True
            cycle.message_event.set()
        self._unset_keepalive_if_required()
        if can_say:
            with contextlib.suppress(h11.LocalProtocolError):
                self.transport.write(self._words(status, words))
        self.transport.close()

    def _words(self, status: HTTPStatus, words: str) -> bytes:
        body = words.encode()
        headers = [
            (b"content-type", b"text/plain; charset=utf-8"),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
        ]
        response = h11.Response(
            status_code=int(status), headers=headers, reason=status.phrase.encode()
        )
        parts = [
            self.conn.send(each) for each in (response, h11.Data(data=body), h11.EndOfMessage())
        ]
        return b"".join(part for part in parts if part)

    def _now_waits_for(self) -> str:
        if self.transport.is_closing():
            return "end"
        if self.flow.write_paused:
            return "reader"
        if self.conn.their_state is h11.SEND_BODY:
            return "body"
        if self._is_answering():
            return "answer"
        return "next" if self._waits_for in ("next", "answer", "reader") else "head"

    def _is_answering(self) -> bool:
        """Whether a request is whole and its answer is not."""
        cycle = self.cycle
        is_running = cycle is not None and not cycle.response_complete
        return is_running and self.conn.their_state is not h11.SEND_BODY

    def _wait_for(self, what: str, now_s: float) -> None:
        if what == "body":
            self._last_byte_s = now_s
        self._waits_for, self._since_s = what, now_s


def make_room(connections: Collection[PatientProtocol], limits: Limits, now_s: float) -> None:
    """Close what is beyond the limits, first what has waited longest for its request.

    One that has only just come is left the time to ask: it may be a healthy one in a crowd.
    """
    open_now = [each for each in connections if not each.transport.is_closing()]
    _thin_out(open_now, limits.connections, now_s)
    by_address: dict[str, list[PatientProtocol]] = defaultdict(list)
    for each in open_now:
        by_address[each.address].append(each)
    for held in by_address.values():
        _thin_out(held, limits.per_address, now_s)


def _thin_out(held: list[PatientProtocol], most: int, now_s: float) -> None:
    too_many = len(held) - most
    if too_many <= 0:
        return
    waiting = [
        (since_s, number, each)
        for number, each in enumerate(held)
        if (since_s := each.waited_since_s) is not None and now_s - since_s > _JUST_COME_S
    ]
    for _, _, each in sorted(waiting)[:too_many]:
        each.give_up(_TIMEOUT, _TOO_SLOW)
