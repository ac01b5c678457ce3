"""Times of a service on a filled store, each start in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any, TypeVar
from urllib.request import urlopen

from fastapi import FastAPI

from service.api import create_app
from service.api.serve import Server, address, bind
from service.bench.memory import peak_mb
from service.desk.desk import Desk
from service.desk.sums import progress_of, statistics_of
from service.store import Store
from service.words.plain import NONE
from vision.layout import Layout

from .drawn import PLAYERS

Answer = TypeVar("Answer")
RUNS = 7
_PAGE, _PARTS = "", "parts"
_ASKED_EVERY_S = 0.05


def measure(data_dir: Path, *, url: str | None = None) -> dict[str, Any]:
    """The figures of a fresh process: start, first page, page, statistics; milliseconds.

    The attempt that is added for the page after a shot is taken back.
    """
    words = ["--measure", "--data", str(data_dir), *(["--store", url] if url else [])]
    done = subprocess.run(
        [sys.executable, "-m", "service.bench.growth", *words],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def measure_here(data_dir: Path, *, url: str | None = None) -> dict[str, Any]:
    """The same in this process, which must not have looked at the store before."""
    clock = _Clock()
    with _service(data_dir, url, clock) as (where, desk):
        clock.take("first_page", lambda: _get(where + _PAGE))
        clock.take("page", lambda: _get(where + _PAGE), RUNS)
        clock.take("page_data", lambda: _get(where + _PARTS), RUNS)
        with _one_more(desk.store):
            clock.take("page_after_a_shot", lambda: _get(where + _PARTS))
        # it copies the whole store after the start; what is asked later is not to pay for that
        desk.store.wait_looked()
        attempts = _statistics(desk.store, clock)
        for name in ("summary", "progress"):
            clock.take(f"{name}_route", partial(_get, f"{where}api/v1/{name}"), 3)
        waits_ms = clock.take("look_over", partial(_looked_over, desk.store))
    clock.found |= {"read_meanwhile_ms": median(waits_ms), "worst_read_meanwhile_ms": max(waits_ms)}
    return {**clock.found, "attempts_player": attempts, "peak_mb": peak_mb()}


class _Clock:
    """Times by the clock and by the processor, which other programs disturb less, ms."""

    def __init__(self) -> None:
        self.found: dict[str, float] = {}

    def take(self, name: str, ask: Callable[[], Answer], runs: int = 1) -> Answer:
        """Run it so many times and keep the medians; the last answer."""
        wall, cpu = [], []
        for _ in range(runs):
            begun = time.perf_counter(), time.process_time()
            answer = ask()
            wall.append(time.perf_counter() - begun[0])
            cpu.append(time.process_time() - begun[1])
        self.found |= {f"{name}_ms": median(wall) * 1e3, f"{name}_cpu_ms": median(cpu) * 1e3}
        return answer


def _statistics(store: Store, clock: _Clock) -> int:
    """Of one player, the first time and again; of all attempts together. The player's attempts."""
    with store.reading() as reader:
        (player, *_) = reader.players(limit=1)
        for name, player_id in (("player", player.id), ("all", None)):
            for ask in (statistics_of, progress_of):
                key = f"{ask.__name__.removesuffix('_of')}_{name}"
                clock.take(f"first_{key}", partial(ask, reader, player_id=player_id))
                clock.take(key, partial(ask, reader, player_id=player_id), 3)
        return statistics_of(reader, player_id=player.id).attempts


def _looked_over(store: Store) -> list[float]:
    """The daily look with its copy; how long each look at the last attempts took meanwhile, ms."""
    waits_ms: list[float] = []
    look = threading.Thread(target=store.look_over)
    look.start()
    while look.is_alive() or not waits_ms:
        began = time.perf_counter()
        with store.reading() as reader:
            reader.attempts(limit=10)
        waits_ms.append((time.perf_counter() - began) * 1e3)
        look.join(_ASKED_EVERY_S)
    return waits_ms


@contextmanager
def _service(data_dir: Path, url: str | None, clock: _Clock) -> Iterator[tuple[str, Desk]]:
    listener = bind("127.0.0.1", 0)

    def start() -> tuple[FastAPI, Server, threading.Thread]:
        app = create_app(data_dir, store_url=url, read=_unread)
        server = Server(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.001)
        return app, server, thread

    app, server, thread = clock.take("start", start)
    try:
        yield address(listener), app.state.desk
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


@contextmanager
def _one_more(store: Store) -> Iterator[None]:
    """The newest attempt once more; struck at the end."""
    with store.writing() as writer:
        (last,) = writer.attempts(limit=1)
        intent = writer.set_intent(last.intent.document, before_reading_id=last.before.id)
        added = writer.add_attempt(
            intent, before=last.before, after=last.after, verdict=last.verdict,
            judged_by=last.judged_by,
        )  # fmt: skip
    yield
    with store.writing() as writer:
        writer.strike_attempt(added.id)


def _unread(*_given: Any, **_more: Any) -> Layout:
    raise NotImplementedError("no still is posted here")


def _get(where: str) -> bytes:
    with urlopen(where, timeout=120) as answer:
        body: bytes = answer.read()
    return body


_SHOWN = (
    ("start", "start"),
    ("first page after it", "first_page"),
    ("page", "page"),
    ("page data", "page_data"),
    ("page data after a shot", "page_after_a_shot"),
    ("one player's statistics, first", "first_statistics_player"),
    ("one player's statistics", "statistics_player"),
    ("one player's progress, first", "first_progress_player"),
    ("one player's progress", "progress_player"),
    ("statistics of all attempts", "statistics_all"),
    ("progress of all attempts", "progress_all"),
    ("GET /summary", "summary_route"),
    ("GET /progress", "progress_route"),
    ("daily look and copy", "look_over"),
)
_WAITS = (
    ("last attempts read meanwhile", "read_meanwhile_ms"),
    ("the slowest of these", "worst_read_meanwhile_ms"),
)


def shown_rows(found: Sequence[dict[str, Any]]) -> list[tuple[str, list[str]]]:
    """What is printed of several sizes: a label, and a text a size."""
    counts = (
        ("attempts", "attempts"),
        (f"of one of {PLAYERS} players", "attempts_player"),
        ("database, MB", "database_mb"),
        ("filled in, s", "fill_s"),
        ("peak memory, MB", "peak_mb"),
    )
    rows = [
        (label, [NONE if each[key] is None else f"{each[key]:,.0f}" for each in found])
        for label, key in counts
    ]
    for label, key in _SHOWN:
        texts = [f"{each[f'{key}_ms']:,.0f} ({each[f'{key}_cpu_ms']:,.0f})" for each in found]
        rows.append((f"{label}, ms (processor)", texts))
    rows += [(f"{label}, ms", [f"{each[key]:,.0f}" for each in found]) for label, key in _WAITS]
    return rows
