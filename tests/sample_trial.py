"""The sample practice, done once for all tests that look at its results."""

import atexit
import shutil
from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp

from service.demo.show import Demo, run_demo


@lru_cache(maxsize=1)
def finished_demo() -> Demo:
    """The demo, written to a folder of its own."""
    folder = Path(mkdtemp(prefix="restmark-demo-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return run_demo(folder / "demo")
