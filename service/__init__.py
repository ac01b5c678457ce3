"""Two layouts and what was meant to a verdict, and many of them to a practice.

In: stills, intents, notes and corrections, from the command line or over HTTP. Out: verdicts,
statistics, drawings, reports, pages. Stands on ``vision`` and ``calibration``; neither knows it.
"""

import os

# The matrices here are small: a second thread of the linear algebra only spins for the next one,
# which doubled the processor time of a reading. It must be said before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
