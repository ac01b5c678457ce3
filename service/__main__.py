"""The installed command ``restmark``, and ``python -m service``: the command line, if it is ours.

Whether the packages are of one install is asked first: their errors could not be told otherwise.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from service.siblings import mixed_install

_REFUSED = 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    mixed = mixed_install()
    if mixed is not None:
        print(f"error: {mixed}", file=sys.stderr)
        return _REFUSED
    from service.cli import main as command

    return command(arguments)


if __name__ == "__main__":
    raise SystemExit(main())
