"""Tables and players: made, renamed, and who plays where.

In: names and numbers that were checked. Out: the store's records; whoever listens is told.
"""
