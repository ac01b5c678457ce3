"""Two cameras over one table, measured: simulated views for statistics, rendered pairs for proof.

In: a count, or a folder of rendered pairs. Out: figures as plain JSON.
"""
