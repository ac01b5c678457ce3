"""The linear algebra has one thread, unless somebody asks for more."""

import os
import subprocess
import sys

import pytest

# a sum of products that OpenBLAS shares out between threads wherever it may
WORK = """
import time
import service
import numpy as np
rng = np.random.default_rng(1)
one = rng.normal(size=(900, 900))
one @ one
process_s, thread_s = time.process_time(), time.thread_time()
for _ in range(12):
    one @ one
print(time.process_time() - process_s, time.thread_time() - thread_s)
"""


@pytest.mark.parametrize(("asked", "is_shared"), [(None, False), ("2", True)])
def test_matrices_are_worked_out_by_the_thread_that_asks(asked, is_shared):
    env = {name: value for name, value in os.environ.items() if "NUM_THREADS" not in name}
    env |= {} if asked is None else {"OPENBLAS_NUM_THREADS": asked}
    done = subprocess.run(
        [sys.executable, "-c", WORK], env=env, capture_output=True, text=True, check=True
    )
    process_s, thread_s = map(float, done.stdout.split())
    assert (process_s > 1.25 * thread_s) == (is_shared and (os.cpu_count() or 1) > 1)
