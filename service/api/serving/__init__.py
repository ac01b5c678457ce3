"""The server under the application: its connections, and for how long it waits on each.

In: an application, limits, listening sockets. Out: a server that lets no slow or silent sender
hold what others need. It knows no route and nothing of the store.
"""

from .limits import Limits, many_files
from .memory import few_heaps
from .server import Server

__all__ = ["Limits", "Server", "few_heaps", "many_files"]
