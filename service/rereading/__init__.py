"""Years of kept stills read again by many processes, and what that changes.

In: a store, and the place of its stills. Out: new readings beside the old ones, a comparison, and
on demand new readings in the old ones' places. ``wanted`` says what is to be read, ``stills``
where bytes come from, ``work`` reads on a worker, ``pool`` spreads over workers (the only module
that knows Dask; extra ``scale``), ``keeping`` keeps, ``run`` goes the whole way; ``compare`` and
``adopting`` come after. Only the process that holds the store writes: workers get bytes and give
layouts, so one of them may die at any moment.
"""

from .adopting import Adopted, adopt
from .compare import Compared, compare
from .errors import RereadError
from .estimate import Estimate, estimate
from .run import Done, Progress, reread_all
from .wanted import Target, Wanted, target_of

__all__ = [
    "Adopted",
    "Compared",
    "Done",
    "Estimate",
    "Progress",
    "RereadError",
    "Target",
    "Wanted",
    "adopt",
    "compare",
    "estimate",
    "reread_all",
    "target_of",
]
