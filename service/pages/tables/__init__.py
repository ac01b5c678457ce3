"""All tables at a glance, for whoever teaches: ``/tables``.

In: the store and the watches. Out: a card a table, with a link into its practice.
"""

from .page import install

__all__ = ["install"]
