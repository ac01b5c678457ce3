"""Senders that are slow, silent or rude, many at once, and a healthy one beside them."""

import asyncio
import contextlib
import time
from dataclasses import dataclass, field

HEAD = b"GET /api/v1/health HTTP/1.1\r\nHost: %s\r\nX-Filler: " + b"a" * 4000
BODY = (
    b"POST /api/v1/stills HTTP/1.1\r\nHost: %s\r\nContent-Type: image/jpeg\r\n"
    b"Content-Length: 1000000\r\n\r\n"
)
CHUNKED = (
    b"PUT /api/v1/intent HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n"
)
KINDS = {"silent": b"", "head": b"", "body": BODY, "chunked": CHUNKED}
"""What each kind sends at once, before its byte a pause."""


@dataclass
class Fates:
    """What became of the senders, and how the healthy client fared."""

    gone_s: list[float] = field(default_factory=list)
    left: int = 0
    answers: list[bytes] = field(default_factory=list)
    healthy_s: list[float] = field(default_factory=list)
    unserved: int = 0


async def _sender(host, port, kind, pause_s, give_up_s, fates):
    """One that sends a byte a pause until it is thrown out."""
    began_s, where = time.monotonic(), f"{host}:{port}".encode()
    reader, writer = await asyncio.open_connection(host, port)
    drip = iter(HEAD % where) if kind == "head" else iter(b"fff\r\n" + b"x" * 4095)
    received = b""
    try:
        writer.write(KINDS[kind] % where if KINDS[kind] else b"")
        while time.monotonic() - began_s < give_up_s:
            if kind != "silent":
                writer.write(bytes([next(drip)]))
                await writer.drain()
            with contextlib.suppress(TimeoutError):
                part = await asyncio.wait_for(reader.read(4096), pause_s)
                received += part
                if not part:
                    break
        else:
            fates.left += 1
            return
    except OSError:
        pass
    finally:
        writer.close()
    fates.gone_s.append(time.monotonic() - began_s)
    fates.answers.append(received)


async def _healthy(host, port, over, fates):
    """Asks for the health, a new connection each time, until ``over``."""
    asked = f"GET /api/v1/health HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n"
    while not over.is_set():
        began_s = time.monotonic()
        try:
            reader, writer = await asyncio.open_connection(host, port)
            writer.write(asked.encode())
            answer = await asyncio.wait_for(reader.read(), 10)
            writer.close()
        except (OSError, TimeoutError):
            answer = b""
        fates.healthy_s.append(time.monotonic() - began_s)
        fates.unserved += not answer.startswith(b"HTTP/1.1 200")
        await asyncio.sleep(0.05)


async def besiege(host, port, *, senders, pause_s, give_up_s, kinds=tuple(KINDS)) -> Fates:
    """That many senders at once, of all kinds, with a healthy client all the while."""
    fates, over = Fates(), asyncio.Event()
    healthy = asyncio.create_task(_healthy(host, port, over, fates))
    await asyncio.gather(
        *(
            _sender(host, port, kinds[number % len(kinds)], pause_s, give_up_s, fates)
            for number in range(senders)
        )
    )
    over.set()
    await healthy
    return fates
