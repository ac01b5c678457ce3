"""Feeds Restmark tens of thousands of hostile files: nothing may crash, and nothing lie.

    python tests/hostile_files.py [--count 20000] [--seed 1] [--part pictures] [--more DIR …]

Parts (all of them without ``--part``):

- ``pictures``: random, cut, spoilt and spliced pictures, bombs, odd kinds, into the reader;
- ``damaged``: sound stills, damaged as files are: a quarter of the count. None may be read with
  balls elsewhere, missing, invented or renamed without a word. ``--more`` names further folders of
  stills with their truth;
- ``served``: the same pictures, spoilt documents and endless bodies, to a service in a process of
  its own with the true reader: a fortieth of the count;
- ``commands``: every command and every format of file that it reads: a tenth of the count.

Each refusal must be one of Restmark's, with a code and what to do; memory must stay below a limit.
Every finding's bytes stay in a folder that is told. Exit code 1 where there was one.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from hostile_parts import PARTS, Findings

SHARES = {"pictures": 0.8, "damaged": 0.25, "served": 0.025, "commands": 0.1}
"""Of the count; pictures, documents and commands together are more than all of it."""


def main() -> int:
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("--count", type=int, default=20_000)
    told.add_argument("--seed", type=int, default=1)
    told.add_argument("--part", choices=sorted(PARTS), action="append")
    told.add_argument("--more", type=Path, nargs="*", default=[])
    asked = told.parse_args()
    findings = Findings(Path(tempfile.mkdtemp(prefix="restmark-hostile-")))
    for part in asked.part or PARTS:
        count = max(1, round(asked.count * SHARES[part]))
        print(f"{part}: {count} inputs, seed {asked.seed}", flush=True)
        started = time.monotonic()
        PARTS[part](count, asked.seed, findings, asked.more)
        print(f"  {time.monotonic() - started:.0f} s", flush=True)
    print(f"{len(findings.told)} findings" + (f" in {findings.folder}" if findings.told else ""))
    return 1 if findings.told else 0


if __name__ == "__main__":
    sys.exit(main())
