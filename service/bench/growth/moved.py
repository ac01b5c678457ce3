"""What moving a filled store costs: out into an archive, into an empty store, and in once more.

``python -m service.bench.growth.moved out|in DATA ARCHIVE`` does one of them in a process of its
own and prints its time and memory.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from service.bench.memory import peak_mb
from service.moving import export_archive, take_in
from service.store import Store


def moved(data_dir: Path, *, url: str | None = None) -> dict[str, Any]:
    """Seconds by the clock and by the processor, and peak memory in MB, of each way.

    ``url`` names the store's database; the empty one that the archive goes into is SQLite.
    """
    archive, other = data_dir.parent / "moved.zip", data_dir.parent / "other"
    out = _run("out", data_dir, archive, url)
    found = {f"out_{key}": value for key, value in out.items()}
    for name in ("in", "again"):
        found |= {f"{name}_{key}": value for key, value in _run("in", other, archive).items()}
    return found | {"archive_mb": archive.stat().st_size / 1e6}


def _run(way: str, data_dir: Path, archive: Path, url: str | None = None) -> dict[str, Any]:
    words = [way, str(data_dir), str(archive), *([url] if url else [])]
    done = subprocess.run(
        [sys.executable, "-m", "service.bench.growth.moved", *words],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def main(arguments: Sequence[str]) -> int:
    """One way, in this process."""
    way, data_dir, archive, *url = arguments
    with closing(Store(Path(data_dir), *url)) as store:
        idle_mb = peak_mb()
        begun = time.perf_counter(), time.process_time()
        if way == "out":
            with Path(archive).open("wb") as file:
                file.writelines(export_archive(store))
        else:
            take_in(store, Path(archive))
        took_s = time.perf_counter() - begun[0], time.process_time() - begun[1]
    print(
        json.dumps({"s": took_s[0], "cpu_s": took_s[1], "idle_mb": idle_mb, "peak_mb": peak_mb()})
    )
    return 0


_WAYS = (("out", "out"), ("in", "into an empty store"), ("again", "the same once more"))


def moved_rows(found: Sequence[dict[str, Any]]) -> list[tuple[str, list[str]]]:
    """What is printed of several sizes: a label, and a text a size."""
    rows = [
        ("attempts", [f"{each['attempts']:,}" for each in found]),
        ("archive, MB", [f"{each['archive_mb']:,.1f}" for each in found]),
    ]
    for key, said in _WAYS:
        times = [f"{each[f'{key}_s']:,.1f} ({each[f'{key}_cpu_s']:,.1f})" for each in found]
        peaks = [f"{each[f'{key}_peak_mb']:,.0f} ({each[f'{key}_idle_mb']:,.0f})" for each in found]
        rows.append((f"{said}, s (processor)", times))
        rows.append(("  peak memory, MB (before)", peaks))
    return rows


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
