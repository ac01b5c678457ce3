"""Turns at the desk: a line for every table, so that tables do not wait for each other.

In: work, and the table that it belongs to or the record whose table that is. Out: what came of it,
in the order in which it was asked for at that table. It knows nothing of what is done.
"""
