"""Routes of practices, and of what watches a table.

In: requests. Out: bodies. ``ROUTERS`` lists the routers.
"""

from . import practices, watch

ROUTERS = (practices.router, watch.router)
