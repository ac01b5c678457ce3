"""A practice survives the service's sudden death at any moment, on either database.

``RESTMARK_KILLS=100`` kills a hundred times; a run of the tests is content with a few.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path

import httpx
import pytest
import sqlalchemy as sa
from api_kit import BEFORE, INTENT, Client, after, layout, still
from store_kit import URLS, engine_of

BOTH_DATABASES = True
KILLS = int(os.environ.get("RESTMARK_KILLS", "4"))
MOST_ANSWERED = 9
"""Requests that are answered at most before a death: two shots, with a note."""
LONGEST_S = 0.06
"""The latest moment of a death after the next request was sent; most are answered by then."""
SEED = 12
TOLD_EACH = 10
"""Deaths after which a run with ``-s`` says that it goes on."""


class Mortal:
    """The service, started again after each death."""

    def __init__(self, data_dir: Path) -> None:
        script = Path(__file__).with_name("mortal_service.py")
        self._process = subprocess.Popen(
            [sys.executable, str(script), str(data_dir), URLS.get(data_dir, "")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent.parent,
        )
        self._pid = 0

    def start(self) -> str:
        """Its address."""
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        pid, address = self._process.stdout.readline().split()
        self._pid = int(pid)
        return address

    def kill(self) -> None:
        """Without a word of warning; where none runs, nothing."""
        if self._pid:
            os.kill(self._pid, signal.SIGKILL)

    def await_end(self) -> None:
        """Until the process is gone."""
        assert self._process.stdout.readline() == "ended\n"
        self._pid = 0

    def close(self) -> None:
        """No more of them; one that lives still, as a check before its death failed, dies too."""
        with suppress(ProcessLookupError):
            self.kill()
        self._process.communicate()


class Practice:
    """Shots without end; what was acknowledged is remembered."""

    def __init__(self, moments: random.Random) -> None:
        self._moments = moments
        self._numbers = count(1)
        self._left = 0
        self._kill: Callable[[], None] | None = None
        self.readings: dict[int, dict] = {}
        self.attempts: dict[int, dict] = {}
        self.noted: dict[int, str] = {}
        self.intent: dict | None = None
        """The one acknowledged last, as long as no still was sent after it."""
        self.under_way: tuple[str, bytes] | None = None
        """Key and bytes of a still that was sent and not acknowledged."""

    def play(self, client: Client, kill: Callable[[], None]) -> None:
        """Until the service is gone, killed by ``kill`` at some moment."""
        self._left, self._kill = self._moments.randint(0, MOST_ANSWERED), kill
        while True:
            number = next(self._numbers)
            before = f"{number}-before"
            self._give(client, before, still(layout(_placed(number), still=before)))
            self._tick()
            answer = client.put("/intent", json=INTENT)
            assert answer.status_code == 200, answer.text
            self.intent = answer.json()
            rest = after((2300.0, 150.0 + number % 50), still=f"{number}-after")
            attempt = self._give(client, rest.still, still(rest))
            if attempt is not None and number % 2:
                self._tick()
                noted = client.put(f"/attempts/{attempt}/note", json={"spin": "draw"})
                assert noted.status_code == 200, noted.text
                self.noted[attempt] = "draw"

    def _give(self, client: Client, key: str, data: bytes) -> int | None:
        self.under_way, self.intent = (key, data), None
        self._tick()
        answer = client.give(data, key, **{"Idempotency-Key": key})
        assert answer.status_code in (200, 201), answer.text
        body = answer.json()
        self.under_way = None
        self.readings[body["reading"]["id"]] = body["reading"]
        if body["attempt"] is None:
            return None
        self.attempts[body["attempt"]["id"]] = body["attempt"]
        return body["attempt"]["id"]

    def _tick(self) -> None:
        """Count a request that is sent now; death comes soon after the last."""
        if self._left == 0 and self._kill is not None:
            threading.Timer(self._moments.uniform(0.0, LONGEST_S), self._kill).start()
        self._left -= 1

    def check(self, client: Client) -> None:
        """All that was acknowledged is there; what was under way is there once or can be sent."""
        self._kill = None
        health = client.get("/health").json()
        assert (health["damaged_stills"], health["warnings"]) == ([], [])
        assert health["stills"] == health["readings"] >= len(self.readings)
        for number, reading in self.readings.items():
            assert client.get(f"/readings/{number}").json() == reading
        for number, attempt in self.attempts.items():
            held = client.get(f"/attempts/{number}").json()
            assert held["verdict"] == attempt["verdict"]
            assert held["kind"]["spin"] in (self.noted.get(number), "draw")
        if self.intent is not None:
            assert client.get("/intent").json() == self.intent
        if self.under_way is not None:
            key, data = self.under_way
            self._give(client, key, data)
            names = [each["name"] for each in client.get("/stills?limit=500").json()["stills"]]
            assert names.count(key) == 1


def _placed(number: int) -> dict[str, tuple[float, float]]:
    """The balls before a shot; the cue ball lies a little elsewhere than the time before."""
    return BEFORE | {"cue": (1500.0, 400.0 + number % 50)}


def assert_no_half_record(data_dir: Path) -> None:
    """Every row has what belongs to it, and every still its file."""
    engine = engine_of(data_dir)
    with engine.connect() as connection:
        counted = {
            name: connection.execute(sa.text(query)).scalar_one()
            for name, query in {
                "still without reading": "SELECT count(*) FROM stills WHERE id NOT IN "
                "(SELECT still_id FROM readings)",
                "scored intent without attempt": "SELECT count(*) FROM intents WHERE "
                "state = 'scored' AND id NOT IN (SELECT intent_id FROM attempts)",
                "attempt of an intent not scored": "SELECT count(*) FROM attempts WHERE "
                "intent_id IN (SELECT id FROM intents WHERE state <> 'scored')",
                "still without receipt": "SELECT count(*) FROM stills WHERE name NOT IN "
                "(SELECT key FROM receipts)",
            }.items()
        }
        files = connection.execute(sa.text("SELECT sha256, size_bytes FROM stills")).all()
    engine.dispose()
    assert set(counted.values()) == {0}, counted
    for sha256, size_bytes in files:
        assert (data_dir / "stills" / sha256[:2] / sha256).stat().st_size == size_bytes


def test_nothing_acknowledged_is_lost_whenever_the_service_dies(data):
    practice, mortal = Practice(random.Random(SEED)), Mortal(data)
    try:
        for number in range(KILLS):
            address = mortal.start()
            with Client(address) as client:
                client.calibrate() if not practice.readings else practice.check(client)
                with pytest.raises(httpx.TransportError):
                    practice.play(client, mortal.kill)
            mortal.await_end()
            assert_no_half_record(data)
            if (number + 1) % TOLD_EACH == 0:
                print(f"{number + 1} deaths, {len(practice.readings)} stills", flush=True)
        with Client(mortal.start()) as client:
            practice.check(client)
        mortal.kill()
        mortal.await_end()
    finally:
        mortal.close()
    print(f"{KILLS} deaths, {len(practice.readings)} stills, {len(practice.attempts)} attempts")
