"""Layouts, the set-up guide, lessons and plans as pages.

In: the library, and the guide with its looks at the table. Out: pages and parts of them; changes go
through the API.
"""

from ..frame import Site
from . import guide, layouts, lessons, plans


def install(site: Site) -> None:
    """Add the pages to the site."""
    for page in (layouts, guide, lessons, plans):
        page.install(site)
