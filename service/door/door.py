"""The door: pairs devices by codes, knows them again by tokens, and shuts them out."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from calibration.errors import RestmarkError
from service import clock
from service.store import DeviceRecord, Store, Writer

from .codes import CODE_LASTS, hash_of, is_hash_of, new_code, new_secret, parts_of, token_of
from .codes import plain_code as _plain
from .roles import Role
from .tries import Tries

KNOWN_FOR_S = 2.0
"""So long a device is believed to be paired still; one that this service revokes is out at once."""
_SEEN_EVERY = timedelta(minutes=10)
_NOBODY = hash_of("")


class DoorError(RestmarkError):
    """Nobody is let in so."""

    code = "bad-code"


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCode:
    """A code as it is shown once; only its hash is kept."""

    code: str
    role: Role
    ends_at: datetime


class Door:
    """Who may ask the service on ``store``; any thread may use it."""

    def __init__(self, store: Store, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._store = store
        self._clock = clock
        self._tries = Tries(clock)
        self._lock = threading.Lock()
        self._known: dict[int, tuple[float, DeviceRecord]] = {}
        self._seen: dict[int, tuple[datetime, str]] = {}
        self._is_keeping = False
        self._writer = ThreadPoolExecutor(max_workers=1, thread_name_prefix="restmark-door")

    def close(self) -> None:
        """Keep when devices were seen last."""
        self._writer.shutdown(wait=True)
        self._keep_seen()

    # -- pairing ---------------------------------------------------------------------------

    def new_code(self, role: Role, *, lasts: timedelta = CODE_LASTS) -> NewCode:
        """A code that pairs one device as ``role``, for a while."""
        code = new_code()
        with self._store.writing() as writer:
            kept = writer.add_code(hash_of(_plain(code)), role, lasts=lasts)
        return NewCode(code=code, role=role, ends_at=kept.ends_at)

    def pair(self, typed: str, name: str, *, source: str) -> tuple[str, DeviceRecord]:
        """The token of a device that has a code, and the device.

        Raises:
            DoorError: the code is none (``bad-code``), or it was tried too often
                (``too-many-tries``, with ``wait_s`` in its fields).
        """
        wait_s = self._tries.take(source)
        if wait_s > 0:
            raise DoorError(
                f"code: tried too often; allowed: five tries a minute. Wait {wait_s:.0f} s, then "
                "type the code as the computer shows it.",
                code="too-many-tries",
                fields={"wait_s": int(wait_s) + 1},
            )
        code = _plain(typed)
        with self._store.writing() as writer:
            # every code is compared, so that the time tells nothing
            matching = [each for each in writer.open_codes() if is_hash_of(code, each.code_hash)]
            if not matching:
                raise DoorError(
                    "code: is none, was used, or is past its 15 minutes; allowed: one that the "
                    "computer or the page Devices shows now. Type it again, or have a new one made."
                )
            writer.use_code(matching[0].id)
            token, device = _added(writer, name, Role(matching[0].role))
        self._tries.give_back(source)
        return token, device

    def add_device(self, name: str, role: Role) -> tuple[str, DeviceRecord]:
        """A device, or a program, that gets its token at once, on this machine."""
        with self._store.writing() as writer:
            return _added(writer, name, role)

    def revoke(self, number: int) -> DeviceRecord:
        """Let it in no longer. NotFoundError where there is none."""
        with self._store.writing() as writer:
            device = writer.revoke_device(number)
            writer.tell("device", device_id=number)
        with self._lock:
            self._known[number] = (self._clock(), device)
        return device

    def devices(self) -> tuple[DeviceRecord, ...]:
        """Devices that are let in, newest first."""
        # first what is not kept yet: it may be kept, and forgotten here, before the store is read
        with self._lock:
            seen = dict(self._seen)
        with self._store.reading() as reader:
            kept = reader.devices()
        return tuple(
            replace(each, seen_at=seen[each.id][0], seen_from=seen[each.id][1])
            if each.id in seen
            else each
            for each in kept
        )

    # -- every request ---------------------------------------------------------------------

    def remembered(self, token: str) -> DeviceRecord | None:
        """The device of that token, where it was asked for just now: needs no store."""
        found = parts_of(token)
        with self._lock:
            since_s, device = self._known.get(found[0], (0.0, None)) if found else (0.0, None)
        if found is None or device is None or self._clock() - since_s > KNOWN_FOR_S:
            return None
        return _let_in(device, found[1])

    def known(self, token: str, *, source: str) -> DeviceRecord | None:
        """The device of that token; None where it is not paired, or no longer.

        StoreError where the store cannot be asked.
        """
        found = parts_of(token)
        if found is None:
            return None
        number, secret = found
        with self._store.reading() as reader:
            device = reader.find_device(number)
        let_in = _let_in(device, secret)
        if let_in is not None:
            with self._lock:
                self._known[number] = (self._clock(), let_in)
            self._note_seen(let_in, source)
        return let_in

    def _note_seen(self, device: DeviceRecord, source: str) -> None:
        now = clock.now()
        with self._lock:
            self._seen[device.id] = (now, source)
            is_due = device.seen_at is None or abs(now - device.seen_at) > _SEEN_EVERY
            if not is_due or self._is_keeping:
                return
            self._is_keeping = True
            with contextlib.suppress(RuntimeError):  # the service is ending
                self._writer.submit(self._keep_seen)

    def _keep_seen(self) -> None:
        with self._lock:
            seen, self._is_keeping = dict(self._seen), False
        if not seen:
            return
        # of a full disk the next request tells
        with contextlib.suppress(RestmarkError), self._store.writing() as writer:
            writer.mark_seen(seen)
        with self._lock:
            for number, noted in seen.items():
                if self._seen.get(number) == noted:
                    del self._seen[number]


def _added(writer: Writer, name: str, role: Role) -> tuple[str, DeviceRecord]:
    secret = new_secret()
    device = writer.add_device(name, role, hash_of(secret))
    writer.tell("device", device_id=device.id)
    return token_of(device.id, secret), device


def _let_in(device: DeviceRecord | None, secret: str) -> DeviceRecord | None:
    """The device, where the secret is its own and it was not revoked."""
    is_own = is_hash_of(secret, _NOBODY if device is None else device.token_hash)
    return device if is_own and device is not None and device.revoked_at is None else None
