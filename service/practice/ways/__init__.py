"""Ways to practise: what was tried so far in, the next turn out; one module a way.

In: a plan's intents, how each attempt so far ended, the table as it lies. Out: `Turn`. Nothing is
kept: the same attempts always give the same turn.
"""
