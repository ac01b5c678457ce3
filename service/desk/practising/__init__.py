"""What is played next: the intent that waits for its shot, practices and their ways.

In: the chain of a table, the practice that is open, what a person asks. Out: the pending intent,
in the store, with the layout that must lie there where one must.
"""
