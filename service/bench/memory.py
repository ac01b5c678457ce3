"""Peak memory of reading a hundred stills, as ``restmark read`` does it, in a fresh process."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import redirect_stdout
from importlib.metadata import entry_points
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from calibration.kept.calibration import Calibration

STILLS = 100
_KIB = 1024.0
_PEAK = "VmHWM:"


def memory_figures(
    stills: Sequence[Path], made: Calibration, *, count: int = STILLS
) -> dict[str, Any]:
    """Peak resident memory in MB of ``read`` on ``count`` stills of one calibration.

    The stills come round again where there are fewer. Raises ``CalledProcessError`` where the
    process fails.
    """
    named = [str(stills[k % len(stills)].resolve()) for k in range(count)]
    with TemporaryDirectory() as folder:
        file = Path(folder) / "table.json"
        made.write(file)
        words = ["read", *named, "--calibration", str(file), "--json"]
        done = subprocess.run(
            [sys.executable, "-m", "service.bench.memory", *words],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
    return {"stills": count, **json.loads(done.stdout)}


def peak_mb() -> float:
    """Peak resident memory of this process, MB.

    By the kernel's figure for this program alone where there is one: the usage figure counts what
    the starting process held before.
    """
    try:
        for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
            if line.startswith(_PEAK):
                return float(line.split()[1]) / _KIB
    except OSError:
        pass
    unit = _KIB**2 if sys.platform == "darwin" else _KIB
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def main(arguments: Sequence[str]) -> int:
    """Run the installed command with its output dropped, then print the peak."""
    (restmark,) = entry_points(group="console_scripts", name="restmark")
    command: Callable[[Sequence[str]], int] = restmark.load()
    with redirect_stdout(StringIO()) as dropped:
        code = command(arguments)
    print(json.dumps({"peak_mb": peak_mb(), "layouts": dropped.getvalue().count('"balls"')}))
    return code


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
