"""``python -m service.bench.cameras [--moments N] [FOLDER]``: what a second camera is worth.

Without a folder views are simulated from true places; with one, the rendered pairs of ``python -m
vision.training.dataset --set pairs`` in it are read.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from .rendered import rendered_figures
from .simulated import simulated_figures


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="rendered pairs with truth.json")
    parser.add_argument("--moments", type=int, default=400, help="simulated without a folder")
    given = parser.parse_args(arguments)
    found = (
        simulated_figures(given.moments) if given.folder is None else rendered_figures(given.folder)
    )
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
