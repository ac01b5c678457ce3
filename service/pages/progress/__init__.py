"""Attempts and what they add up to: the page at ``/progress``, one attempt at ``/attempts/{n}``.

In: what the desk sums up and the store holds. Out: HTML and SVG; it decides and writes nothing.
"""

from .page import install

__all__ = ["install"]
