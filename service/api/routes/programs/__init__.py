"""Routes that programs ask more than people: live changes, figures, everything as a file.

In: requests. Out: streams and what attempts add up to. ``ROUTERS`` lists each module's router.
"""

from . import events, moving, statistics

ROUTERS = (events.router, moving.router, statistics.router)
