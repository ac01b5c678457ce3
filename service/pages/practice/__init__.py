"""The practice page at ``/``: the table, the shot that is planned, and the verdict on it.

In: what the desk works out and the store holds. Out: HTML and SVG; it decides and writes nothing.
"""

from .page import install

__all__ = ["install"]
