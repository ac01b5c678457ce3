"""The HTTP service: /api/v1, live changes, and the page.

In: requests. Out: JSON as OpenAPI publishes it, pictures, events. Thin: the desk does what is
asked, the pages draw it; here are addresses, statuses and what a stranger may not do.
"""

from .app import create_app
from .serve import ServeError, serve

__all__ = [
    "ServeError",
    "create_app",
    "serve",
]
