"""Which ball is which at a table: what was said of names, and the ball set learned from it.

In: readings that were put right, sets that were given. Out: what later stills are named by.
"""
