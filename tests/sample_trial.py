"""The sample practice, done once for all tests that look at its results."""

from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp

from service.demo import Demo, run_demo


@lru_cache(maxsize=1)
def finished_demo() -> Demo:
    """The demo, written to a folder of its own."""
    return run_demo(Path(mkdtemp(prefix="restmark-demo-")) / "demo")
