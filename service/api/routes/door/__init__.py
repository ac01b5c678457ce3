"""Routes of who is let in, and of pairing.

In: requests. Out: bodies. ``ROUTERS`` lists the routers.
"""

from . import devices

ROUTERS = (devices.router,)
