"""Attempts as lines for a spreadsheet or another program.

In: rows of the store, as they come. Out: CSV, line by line. The columns are told once, here, with
their units; the page about the format shows the same list.
"""

from .attempts import COLUMNS, MEDIA_TYPE, Column, attempt_lines

__all__ = ["COLUMNS", "MEDIA_TYPE", "Column", "attempt_lines"]
