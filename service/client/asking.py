"""Requests to one service: what may be asked again is, with growing pauses."""

from __future__ import annotations

import ssl
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2

from .problems import ServiceError, bad_answer, refusal_in, unreachable

API = "/api/v1"
TRIES = 5
"""Times that a request is made in all, where it may be made again."""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.2, 3.0
ANSWER_S = 60.0
"""Longest wait for an answer; a still that is read behind others takes its time."""
_PASSING = frozenset({502, 503, 504})
"""Statuses that may be gone in a moment."""
_SAFE = frozenset({"GET", "PUT"})
"""Methods that may be repeated: what they ask for is the same the second time."""


def _trusted(trust: Path | None) -> ssl.SSLContext | bool:
    """Which certificates are believed: those of the system, or the one in that file alone."""
    if trust is None:
        return True
    try:
        return ssl.create_default_context(cafile=str(trust))
    except (OSError, ssl.SSLError) as wrong:
        raise ServiceError(
            f"{trust}: cannot be read as a certificate ({wrong}); allowed: PEM, such as "
            "tls/certificate.pem of the service's data folder. Correct --trust.",
            code="bad-certificate",
        ) from None


def pauses_s(tries: int) -> Iterator[float]:
    """Pauses before the second try and all further ones."""
    for number in range(tries - 1):
        yield min(FIRST_PAUSE_S * 2**number, LONGEST_PAUSE_S)


class Asking:
    """One service's address and the open connections to it."""

    def __init__(
        self,
        address: str,
        *,
        tries: int = TRIES,
        answer_s: float = ANSWER_S,
        token: str | None = None,
        trust: Path | None = None,
    ) -> None:
        """ServiceError where ``address`` is no http address, or ``trust`` no certificate."""
        parts = urlsplit(address if "//" in address else f"http://{address}")
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ServiceError(
                f"address: got {address!r}; allowed: one like http://127.0.0.1:8765. Give the one "
                "that `restmark serve` printed.",
                code="bad-address",
            )
        self.address = f"{parts.scheme}://{parts.netloc}"
        self._tries = tries
        # certificates take a moment to load, and a plain address needs none; a proxy of the
        # environment does not lead to a practice room
        self._http = httpx2.Client(
            base_url=self.address + API,
            timeout=answer_s,
            verify=_trusted(trust) if parts.scheme == "https" else False,
            trust_env=False,
            headers={} if token is None else {"Authorization": f"Bearer {token}"},
        )

    def close(self) -> None:
        """Give the connections back."""
        self._http.close()

    def ask(self, method: str, path: str, *, again: bool = False, **what: Any) -> httpx2.Response:
        """The answer, a good one.

        ``again``: may be repeated though the method alone does not say so.

        Raises:
            ServiceError: the service refuses, or is not there.
        """
        repeatable = again or method in _SAFE
        pauses = pauses_s(self._tries)
        while True:
            try:
                answer = self._http.request(method, path, **what)
            except (httpx2.TransportError, httpx2.InvalidURL) as wrong:
                # where no connection came to be, nothing was asked yet
                may_repeat = repeatable or isinstance(wrong, httpx2.ConnectError)
                refusal: ServiceError = unreachable(self.address, wrong)
            else:
                if answer.is_success:
                    return answer
                may_repeat = repeatable and answer.status_code in _PASSING
                refusal = refusal_in(answer)
            pause_s = next(pauses, None) if may_repeat else None
            if pause_s is None:
                raise refusal
            time.sleep(pause_s)

    def json(self, method: str, path: str, *, again: bool = False, **what: Any) -> dict[str, Any]:
        """The JSON object that the service answers with; empty where it answers nothing.

        Raises:
            ServiceError: as in ``ask``; code ``bad-answer`` where it is no JSON object.
        """
        answer = self.ask(method, path, again=again, **what)
        if answer.status_code == 204:
            return {}
        try:
            found = answer.json()
        except ValueError:
            found = None
        if not isinstance(found, dict):
            raise bad_answer(answer, "no JSON object")
        return found

    @contextmanager
    def stream(self, method: str, path: str, **what: Any) -> Iterator[httpx2.Response]:
        """An answer that is read while it comes; asked once.

        Raises:
            ServiceError: as in ``ask``.
        """
        try:
            with self._http.stream(method, path, **what) as answer:
                if not answer.is_success:
                    answer.read()
                    raise refusal_in(answer)
                yield answer
        except httpx2.TransportError as wrong:
            raise unreachable(self.address, wrong) from wrong

    def pages(self, path: str, name: str, params: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
        """Every row of a list, newest first, asked for page by page."""
        before: int | None = None
        while True:
            asked = {key: value for key, value in params.items() if value is not None}
            page = self.json("GET", path, params=asked | ({"before": before} if before else {}))
            yield from page[name]
            before = page.get("next_before")
            if before is None:
                return
