"""A running service, asked from Python: the published API in typed calls.

In: the service's address, stills, intents. Out: frozen values and refusals with the code that the
service gave. It knows addresses and bodies alone and touches no store; the command line asks with
it wherever ``--server`` is given.
"""

from .calls import Client
from .problems import ServiceError
from .values import Arrival, Attempt, Event, Moved, Reading

__all__ = [
    "Arrival",
    "Attempt",
    "Client",
    "Event",
    "Moved",
    "Reading",
    "ServiceError",
]
