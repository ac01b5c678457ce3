"""What every page stands in: navigation, the strip of states, the reader's own choices.

In: the store and what the browser keeps. Out: rendered pages and the values a page is made from.
It knows no page; a page knows it.
"""

from .nav import NAVIGATION, NavEntry
from .shown import Look, Shown, shown_of
from .site import Site

__all__ = ["NAVIGATION", "Look", "NavEntry", "Shown", "Site", "shown_of"]
