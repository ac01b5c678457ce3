"""The set-up page at ``/setup``: from an empty data folder to a calibrated table, step by step.

In: what the store holds now. Out: HTML; what is worked out is asked for by the page's own scripts
at /api/v1/setup, and nothing changes before the player says so.
"""

from .page import install

__all__ = ["install"]
