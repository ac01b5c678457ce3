"""``python -m service.bench.school``: how many stills many tables send, and how long each waits.

Twelve tables at one service, a reader process a core: stills a second where every table sends its
next as soon as the last was answered, by one core and by two; and how long a still waits where
every table sends one each five seconds. What more cores would take is reckoned from the processor
time of a still, and called so.
"""

from __future__ import annotations

import argparse
import json
import os
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from rich.console import Console

from service.demo.samples import SHOTS_FOLDER, sample_stills
from service.words.plain import counted

from .load.posted import marked
from .load.served import calibrate, cpu_of, memory_of, service
from .practice import machine, print_machine

SCHOOL_FORMAT, SCHOOL_VERSION = "restmark-bench-school", 1
TABLES, EACH_S = 12, 5.0
SECONDS = 60.0
MODEL_CORES = (1, 2, 4, 8, 16)
_HOST, _LIMIT_S = "127.0.0.1", 120.0
_GOOD = (200, 201)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of a still; seconds from when it was due."""

    table: int
    waited_s: float
    status: int
    took_ms: float | None


@dataclass(slots=True)
class Sending:
    """Every table sends its stills, each by a connection of its own."""

    port: int
    stills: Sequence[bytes]
    tables: int
    seconds: float
    each_s: float | None
    """Between a table's stills; None: the next as soon as the last was answered."""
    answers: list[Answer] = field(default_factory=list)
    _sent: int = 0

    def run(self) -> float:
        """Send for as long as was said; seconds to the last answer."""
        began = time.perf_counter()
        threads = [
            threading.Thread(target=self._send, args=(table, began), daemon=True)
            for table in range(1, self.tables + 1)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return time.perf_counter() - began

    def _send(self, table: int, began: float) -> None:
        connection = HTTPConnection(_HOST, self.port, timeout=_LIMIT_S)
        # tables do not send at the same moment
        due = began + (table - 1) * (self.each_s or 0.0) / self.tables
        number = 0
        while due - began < self.seconds:
            time.sleep(max(due - time.perf_counter(), 0.0))
            status, took_ms = self._post(connection, table, number)
            now = time.perf_counter()
            self.answers.append(
                Answer(table=table, waited_s=now - due, status=status, took_ms=took_ms)
            )
            number += 1
            due = now if self.each_s is None else due + self.each_s
        connection.close()

    def _post(
        self, connection: HTTPConnection, table: int, number: int
    ) -> tuple[int, float | None]:
        # the same still twice counts once
        data = marked(self.stills[number % len(self.stills)], f"{table}-{number}-{os.getpid()}")
        where = f"/api/v1/stills?table={table}&name=school-{table}-{number}.jpg"
        try:
            connection.request("POST", where, data, {"Content-Type": "image/jpeg"})
            answer = connection.getresponse()
            body = answer.read()
        except (OSError, HTTPException):
            connection.close()
            return 0, None
        took_ms = json.loads(body)["reading"]["took_ms"] if answer.status in _GOOD else None
        return answer.status, took_ms

    def figures(self, wall_s: float) -> dict[str, Any]:
        """Rate of good answers, their waits, and how unlike the tables were served."""
        good = [each for each in self.answers if each.status in _GOOD]
        by_table = Counter(each.table for each in good)
        counts = [by_table[table] for table in range(1, self.tables + 1)]
        waits_ms = [each.waited_s * 1e3 for each in good]
        took_ms = [each.took_ms for each in good if each.took_ms is not None]
        return {
            "stills": len(self.answers),
            "statuses": dict(sorted(Counter(str(each.status) for each in self.answers).items())),
            "seconds": wall_s,
            "rate": len(good) / wall_s,
            "wait_ms": {
                f"p{p}": float(np.percentile(waits_ms, p)) if waits_ms else None
                for p in (50, 90, 99, 100)
            },
            "reading_ms": float(np.median(took_ms)) if took_ms else None,
            "a_table": [min(counts), max(counts)],
        }


def school_figures(
    *,
    cores: Sequence[int] = (1, 2),
    tables: int = TABLES,
    seconds: float = SECONDS,
    urls: Sequence[str] = (),
) -> dict[str, Any]:
    """One service after another, held to so many ``cores`` and with as many reader processes.

    ``urls`` name an empty PostgreSQL database for each; none: SQLite.
    """
    runs = []
    for place, count in enumerate(cores):
        url = urls[place] if urls else None
        with TemporaryDirectory() as folder, held(Path(folder), count, url=url) as (port, pid):
            runs.append(_run(port, pid, count, tables=tables, seconds=seconds))
    return {
        "format": SCHOOL_FORMAT,
        "version": SCHOOL_VERSION,
        "machine": machine(),
        "database": "PostgreSQL" if urls else "SQLite",
        "tables": tables,
        "each_s": EACH_S,
        "runs": runs,
        "model": model(runs[-1]),
    }


@contextmanager
def held(folder: Path, cores: int, *, url: str | None = None) -> Iterator[tuple[int, int]]:
    """A service with ``cores`` reader processes on so many cores; its port and process."""
    mine = sorted(os.sched_getaffinity(0))
    os.sched_setaffinity(0, mine[:cores])
    try:
        with service(folder / "data", url=url, more=("--workers", str(cores))) as (port, pid):
            os.sched_setaffinity(0, mine)
            yield port, pid
    finally:
        os.sched_setaffinity(0, mine)


def _run(port: int, pid: int, cores: int, *, tables: int, seconds: float) -> dict[str, Any]:
    for table in range(1, tables + 1):
        if table > 1:
            _ask(port, "/api/v1/tables", {"name": f"Table {table}"})
        calibrate(port, table=table)
    stills = [still.read_bytes() for still in sample_stills(SHOTS_FOLDER)]
    # the first stills make each table's maps; they are not measured
    Sending(port, stills, tables, 0.001, None).run()
    before = _cpu(pid)
    full = Sending(port, stills[1:], tables, seconds, None)
    full_figures = full.figures(full.run())
    spent = {name: _cpu(pid)[name] - was for name, was in before.items()}
    read = max(sum(each.status in _GOOD for each in full.answers), 1)
    calm = Sending(port, stills[::-1], tables, seconds, EACH_S)
    calm_figures = calm.figures(calm.run())
    return {
        "cores": cores,
        "workers": cores,
        "full": full_figures,
        "service_cpu_ms": spent["service"] * 1e3 / read,
        "reader_cpu_ms": spent["readers"] * 1e3 / read,
        "calm": calm_figures,
        "memory_mb": {
            "service": memory_of(pid),
            "readers": [memory_of(each) for each in children(pid)],
        },
    }


def model(run: Mapping[str, Any]) -> list[dict[str, float]]:
    """Stills a second by more cores, reckoned: readers and service share them, and the service
    itself, being one process that runs Python, has one core's time at most."""
    service_ms, reader_ms = run["service_cpu_ms"], run["reader_cpu_ms"]
    return [
        {"cores": cores, "rate": min(cores * 1e3 / (service_ms + reader_ms), 1e3 / service_ms)}
        for cores in MODEL_CORES
    ]


def children(pid: int) -> tuple[int, ...]:
    """Numbers of the processes that ``pid`` started."""
    tasks = Path(f"/proc/{pid}/task").glob("*/children")
    return tuple(
        sorted(int(each) for task in tasks for each in task.read_text(encoding="ascii").split())
    )


def _cpu(pid: int) -> dict[str, float]:
    return {"service": cpu_of(pid), "readers": sum(cpu_of(each) for each in children(pid))}


def _ask(port: int, path: str, document: Mapping[str, Any]) -> None:
    connection = HTTPConnection(_HOST, port, timeout=_LIMIT_S)
    body = json.dumps(document).encode()
    connection.request("POST", path, body, {"Content-Type": "application/json"})
    connection.getresponse().read()
    connection.close()


def print_school(figures: Mapping[str, Any], console: Console) -> None:
    """The figures for people."""
    print_machine(figures["machine"], console)
    console.print(f"{figures['tables']} tables, {figures['database']}")
    for run in figures["runs"]:
        full, calm, memory = run["full"], run["calm"], run["memory_mb"]
        readers = " and ".join(f"{each:.0f}" for each in memory["readers"])
        console.print(
            f"{counted(run['cores'], 'core')}, {run['workers']} reading: "
            f"{full['rate']:.1f} stills a second, {full['a_table'][0]} to {full['a_table'][1]} a "
            f"table; {run['reader_cpu_ms']:.0f} ms of readers and {run['service_cpu_ms']:.0f} of "
            f"the service a still; memory {memory['service']:.0f} MB, its processes {readers}"
        )
        wait = calm["wait_ms"]
        statuses = ", ".join(f"{count} × {code}" for code, count in calm["statuses"].items())
        console.print(
            f"  a still each {figures['each_s']:g} s a table: {wait['p50'] or 0:.0f} ms in the "
            f"median, {wait['p90'] or 0:.0f} of nine in ten, {wait['p99'] or 0:.0f} of 99 in 100, "
            f"{wait['p100'] or 0:.0f} at worst ({statuses})"
        )
    reckoned = ", ".join(f"{each['rate']:.0f} by {each['cores']}" for each in figures["model"])
    console.print(f"reckoned, stills a second by cores: {reckoned}")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m service.bench.school", description=__doc__)
    parser.add_argument("--cores", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--tables", type=int, default=TABLES)
    parser.add_argument("--seconds", type=float, default=SECONDS, help="of each measurement")
    parser.add_argument(
        "--store", metavar="URL", nargs="+", default=[], help="an empty PostgreSQL database each"
    )
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    there = len(os.sched_getaffinity(0))
    if not all(1 <= count <= there for count in chosen.cores):
        parser.error(f"--cores: got {chosen.cores}; allowed: 1 to {there}, as this machine has.")
    if chosen.store and len(chosen.store) != len(chosen.cores):
        parser.error("--store: allowed: one for each of --cores. Give as many.")
    figures = school_figures(
        cores=chosen.cores, tables=chosen.tables, seconds=chosen.seconds, urls=chosen.store
    )
    if chosen.json:
        print(json.dumps(figures))
    else:
        print_school(figures, Console())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
