"""The API as OpenAPI publishes it: every answer that occurs, an example for every body.

In: the application's routes and models.
Out: the document at ``/api/v1/openapi.json``. Nothing here answers a request.
"""

from .document import publish

__all__ = ["publish"]
