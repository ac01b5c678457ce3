"""The client: one call an address of the API."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import tempfile
import uuid
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from service.address import DEFAULT_HOST, DEFAULT_PORT

from .asking import ANSWER_S, TRIES, Asking
from .by_hand import ByHand, Document
from .listening import listen
from .problems import ServiceError
from .values import Arrival, Attempt, Event, Moved, Reading

DEFAULT_ADDRESS = f"http://{DEFAULT_HOST}:{DEFAULT_PORT}"
_KEY = re.compile(r"[\x21-\x7e]{1,200}")
_NAME_MOST = 200
_ARCHIVE_S = 3600.0
"""Longest wait while an archive is taken in."""


class Client(ByHand):
    """One service, at one of its tables. Use it in a ``with`` block, or close it.

    Every call raises ServiceError with the service's own ``code`` where it refuses. Calls that may
    be repeated are, with growing pauses, when the connection breaks or the service is not ready.
    """

    def __init__(
        self,
        address: str = DEFAULT_ADDRESS,
        *,
        table: int | None = None,
        tries: int = TRIES,
        answer_s: float = ANSWER_S,
        token: str | None = None,
        trust: Path | None = None,
    ) -> None:
        """The service at ``address``; ``table`` is the number of its table (None: its first).

        Where others reach the service, ``token`` is what `restmark devices token` printed, and
        ``trust`` the file of its own certificate.
        """
        super().__init__(
            Asking(address, tries=tries, answer_s=answer_s, token=token, trust=trust), table
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        wrong: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self._asking.close()

    # -- the service and its table ---------------------------------------------------------

    def health(self) -> dict[str, Any]:
        """Whether the service is up, and what it holds."""
        return self._asking.json("GET", "/health")

    def calibration(self) -> dict[str, Any] | None:
        """The calibration that holds, its ``calibration`` a whole table.json; None before one."""
        return self._unless("not-found", "GET", "/calibration")

    def set_calibration(self, document: Document, *, camera: str | None = None) -> dict[str, Any]:
        """Have a calibration hold: ``Calibration.to_dict()``, or what is in a table.json.

        ``camera`` names a further camera over the same table; None: its overhead one.
        """
        asked = self._table | ({} if camera is None else {"camera": camera})
        return self._asking.json("PUT", "/calibration", json=document, params=asked)

    def end_camera(self, camera: str) -> None:
        """A further camera hangs over the table no longer: its stills are not waited for."""
        self._asking.ask("DELETE", "/calibration", params=self._table | {"camera": camera})

    # -- stills and readings ---------------------------------------------------------------

    def send_still(
        self,
        still: bytes | Path,
        *,
        name: str | None = None,
        key: str | None = None,
        settled: bool = True,
        camera: str | None = None,
    ) -> Arrival:
        """Send a still; where an intent is pending, it ends the attempt.

        ``camera`` names which of the table's took it, where there are several: send theirs at
        once from threads, they wait for each other and get one answer.

        ``key`` names this still for good: sent again under the same key, from another run of the
        program even, it counts once; any text will do. Without one a new key is made, which this
        call's own repeats use. ``settled``: False while balls roll.
        """
        data = still.read_bytes() if isinstance(still, Path) else still
        said = name if name is not None else still.name if isinstance(still, Path) else ""
        answer = self._asking.ask(
            "POST",
            "/stills",
            again=True,
            content=data,
            params=self._table
            | {"name": said, "settled": str(settled).lower()}
            | ({} if camera is None else {"camera": camera}),
            headers={
                "Content-Type": "application/octet-stream",
                "Idempotency-Key": str(uuid.uuid4()) if key is None else _visible(key),
            },
        )
        is_replay = answer.headers.get("Idempotency-Replayed") == "true"
        return Arrival.from_dict(answer.json(), is_replay=is_replay)

    def latest_reading(self) -> Reading | None:
        """The newest reading; None before the first still."""
        found = self._unless("not-found", "GET", "/readings/latest")
        return None if found is None else Reading.from_dict(found)

    def reading(self, number: int) -> Reading:
        """The reading of that number."""
        return Reading.from_dict(self._asking.json("GET", f"/readings/{number}"))

    def readings(self) -> Iterator[Reading]:
        """Readings, newest first, asked for as they are needed."""
        yield from map(Reading.from_dict, self._asking.pages("/readings", "readings", self._table))

    # -- intents and attempts --------------------------------------------------------------

    def intent(self) -> dict[str, Any] | None:
        """The intent that waits for its shot, with its landing zone; None where none does."""
        return self._unless("no-intent", "GET", "/intent")

    def set_intent(self, intent: Document) -> dict[str, Any]:
        """Say what the next shot is to do: ``Intent.to_dict()``, or what is in an intent.json."""
        return self._asking.json("PUT", "/intent", json=intent, params=self._table)

    def withdraw_intent(self) -> None:
        """The pending intent no longer holds."""
        self._asking.ask("DELETE", "/intent", params=self._table)

    def attempt(self, number: int) -> Attempt:
        """The attempt of that number."""
        return Attempt.from_dict(self._asking.json("GET", f"/attempts/{number}"))

    def attempts(self) -> Iterator[Attempt]:
        """Attempts, newest first, asked for as they are needed."""
        yield from map(Attempt.from_dict, self._asking.pages("/attempts", "attempts", self._table))

    # -- practices -------------------------------------------------------------------------

    def begin_practice(
        self, *, way: Document | None = None, plan: int | None = None, title: str | None = None
    ) -> dict[str, Any]:
        """Begin a practice; one that is open at the table is finished. ``plan``: a kept one's
        number."""
        asked = _chosen(way=way, plan_id=plan, title=title)
        return self._asking.json("POST", "/practices", json=asked, params=self._table)

    def practice(self, number: int) -> dict[str, Any]:
        """The practice of that number, its own score, and what is next."""
        return self._asking.json("GET", f"/practices/{number}")

    def finish_practice(self, number: int) -> dict[str, Any]:
        """It ends, and stays so."""
        return self._asking.json("PATCH", f"/practices/{number}", json={"finished": True})

    def skip(self, number: int, *, place: int | None = None) -> dict[str, Any]:
        """Pass over the next shot of its plan; with ``place`` (from 1) only where that is it."""
        return self._asking.json("POST", f"/practices/{number}/skip", json=_chosen(place=place))

    # -- what it adds up to ----------------------------------------------------------------

    def statistics(
        self,
        *,
        player: int | None = None,
        practice: int | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> dict[str, Any]:
        """What the attempts add up to, every rate with its interval; ``words`` says it."""
        params = _chosen(player=player, practice=practice, since=since, until=until)
        return self._asking.json("GET", "/statistics", params=params | self._table)

    def progress(self, *, same_shots: bool = False) -> dict[str, Any]:
        """Sessions over weeks, trends with their intervals, and what is still missing."""
        params = {"same_shots": str(same_shots).lower()}
        return self._asking.json("GET", "/progress", params=params | self._table)

    def write_csv(
        self,
        path: Path,
        *,
        player: int | None = None,
        practice: int | None = None,
        since: datetime | None = None,
    ) -> None:
        """Write all attempts to ``path``, one a line."""
        params = _chosen(player=player, practice=practice, since=since)
        self._fetch("/attempts.csv", path, params | self._table)

    # -- layouts and the set-up guide ------------------------------------------------------

    def record_layout(
        self,
        title: str | None = None,
        *,
        note: str = "",
        tags: Sequence[str] = (),
        layout: Document | None = None,
        intent: Document | None = None,
    ) -> dict[str, Any]:
        """Keep a layout under a title: the table as it lies now, or ``layout``.

        ``intent`` is the shot that is played from it.
        """
        document: dict[str, Any] = {"note": note, "tags": list(tags)}
        document |= _chosen(title=title, layout=layout, intent=intent)
        return self._asking.json("POST", "/layouts", json=document, params=self._table)

    def import_layout(self, file: bytes | Path, *, name: str | None = None) -> dict[str, Any]:
        """Keep the layout in a file of the library: .json, .svg, .png or .pdf."""
        data = file.read_bytes() if isinstance(file, Path) else file
        said = name if name is not None else file.name if isinstance(file, Path) else "layout"
        return self._asking.json(
            "POST",
            "/layouts/import",
            content=data,
            params={"name": said[:_NAME_MOST]},
            headers={"Content-Type": "application/octet-stream"},
        )

    def layouts(self, *, words: str | None = None, tag: str | None = None) -> Iterator[Document]:
        """Kept layouts, newest first, that hold the words or the tag."""
        yield from self._asking.pages("/layouts", "layouts", _chosen(q=words, tag=tag))

    def layout(self, number: int) -> dict[str, Any]:
        """The kept layout of that number."""
        return self._asking.json("GET", f"/layouts/{number}")

    def save_layout(
        self, number: int, path: Path, *, mirror: str | None = None, turn_deg: int = 0
    ) -> None:
        """Write a kept layout to ``path``, whose ending says how: .svg, .png, .pdf or .json.

        ``mirror`` is ``across`` or ``along``, ``turn_deg`` 0 or 180.
        """
        params = _chosen(mirror=mirror, turn=turn_deg)
        self._fetch(f"/layouts/{number}{path.suffix.lower()}", path, params)

    def start_guide(self, document: Document) -> dict[str, Any]:
        """Have a layout set up at the table: ``{"layout_id": 3}``, or what is to lie there."""
        return self._asking.json("PUT", "/guide", json=document, params=self._table)

    def guide(self) -> dict[str, Any] | None:
        """The layout that is being set up; None where none is."""
        return self._unless("no-guide", "GET", "/guide")

    def look(self, still: bytes | Path) -> dict[str, Any]:
        """How far a still shows the balls off their places; nothing of it is kept."""
        data = still.read_bytes() if isinstance(still, Path) else still
        headers = {"Content-Type": "application/octet-stream"}
        return self._asking.json(
            "POST", "/guide/look", again=True, content=data, params=self._table, headers=headers
        )

    def end_guide(self) -> None:
        """No layout is being set up any more."""
        self._asking.ask("DELETE", "/guide", params=self._table)

    # -- live ------------------------------------------------------------------------------

    def events(self, *, after: int | None = None) -> Iterator[Event]:
        """Changes as they happen; goes on over lost connections without missing one.

        ``after``: begin behind the change of that number, with what was missed. A ``gap`` says
        that older changes are no longer kept.
        """
        yield from listen(self._asking, after=after, table=self._table.get("table"))

    # -- everything ------------------------------------------------------------------------

    def export(self, path: Path) -> None:
        """All that the service keeps, in one archive; ``path`` is whole or not there."""
        self._fetch("/export", path, {})

    def take_archive(self, path: Path) -> Moved:
        """Have the service take in all of an archive; the same archive twice changes nothing."""
        with path.open("rb") as file:
            answer = self._asking.json(
                "POST",
                "/import",
                content=file,
                headers={"Content-Type": "application/zip"},
                timeout=_ARCHIVE_S,
            )
        return Moved.from_dict(answer)

    def _unless(self, code: str, method: str, path: str) -> dict[str, Any] | None:
        """The answer, or None where the service says by ``code`` that there is nothing."""
        try:
            return self._asking.json(method, path, params=self._table)
        except ServiceError as refusal:
            if refusal.code != code:
                raise
            return None

    def _fetch(self, address: str, path: Path, params: Mapping[str, Any]) -> None:
        """What lies at ``address``, in a file that is whole or not there."""
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".part")
        try:
            with (
                os.fdopen(handle, "wb") as file,
                self._asking.stream("GET", address, params=params) as answer,
            ):
                for chunk in answer.iter_bytes():
                    file.write(chunk)
            os.replace(part, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(part)
            raise


def _visible(key: str) -> str:
    """The key, or a hash of one that a header cannot hold."""
    if _KEY.fullmatch(key):
        return key
    return f"sha256:{hashlib.sha256(key.encode()).hexdigest()}"


def _chosen(**given: Any) -> dict[str, Any]:
    """Query of what was given."""
    return {
        name: value.isoformat() if isinstance(value, datetime) else value
        for name, value in given.items()
        if value is not None
    }
