"""Holds a service, in a process of its own with its real limits, against slow senders.

    python tests/slow_senders.py [--senders 300] [--pause 1.0] [--most 30]

Each sends one byte a pause, in a head, a body or a body in chunks, or nothing at all. It prints
when the last was thrown out and how a healthy client fared meanwhile, and fails unless all were
gone in ``--most`` seconds, the healthy one always got its answer and no traceback was left.
"""

import argparse
import asyncio
import re
import signal
import statistics
import subprocess
import sys
import tempfile

from slow_kit import besiege

SERVE = (
    "import pathlib, sys; from service.api import serve; serve(pathlib.Path(sys.argv[1]), port=0)"
)


def main() -> int:
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("--senders", type=int, default=300)
    told.add_argument("--pause", type=float, default=1.0)
    told.add_argument("--most", type=float, default=30.0)
    asked = told.parse_args()
    with tempfile.TemporaryDirectory() as data:
        process = subprocess.Popen(
            [sys.executable, "-u", "-c", SERVE, data],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            line = process.stdout.readline()
            port = int(re.search(r"127\.0\.0\.1:(\d+)", line)[1])
            fates = asyncio.run(
                besiege(
                    "127.0.0.1", port,
                    senders=asked.senders, pause_s=asked.pause, give_up_s=asked.most + 10,
                )
            )  # fmt: skip
        finally:
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=30)
    last_s = max(fates.gone_s, default=0.0)
    healthy = sorted(fates.healthy_s)
    print(f"{asked.senders} senders, a byte each {asked.pause} s:")
    print(f"  the last was gone after {last_s:.1f} s, {fates.left} never")
    print(f"  a healthy client beside them: {len(healthy)} requests, {fates.unserved} unserved,")
    print(f"  median {statistics.median(healthy) * 1e3:.0f} ms, longest {healthy[-1] * 1e3:.0f} ms")
    print(f"  tracebacks in the service's log: {said.count('Traceback')}")
    is_well = not fates.left and last_s <= asked.most and not fates.unserved
    return 0 if is_well and "Traceback" not in said else 1


if __name__ == "__main__":
    sys.exit(main())
