"""What the service keeps of memory once its threads are done with it."""

import platform
import subprocess
import sys

import pytest

# twelve threads that all allocate at once; the C library tells its heaps itself
WORK = """
import ctypes, sys, threading
from service.api.serving import few_heaps
if sys.argv[1] == "few":
    few_heaps()
together = threading.Barrier(12)
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
def fill():
    together.wait()
    for _ in range(2000):
        libc.malloc(3000)
    together.wait()
threads = [threading.Thread(target=fill) for _ in range(12)]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
libc.malloc_info(0, ctypes.c_void_p.in_dll(libc, "stdout"))
libc.fflush(None)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
@pytest.mark.parametrize(("asked", "is_few"), [("few", True), ("as it comes", False)])
def test_threads_share_their_heaps(asked, is_few):
    done = subprocess.run(
        [sys.executable, "-c", WORK, asked], capture_output=True, text=True, check=True
    )
    assert (done.stdout.count("<heap nr=") <= 2) == is_few
