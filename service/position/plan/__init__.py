"""Before the shot: chances over the bed, routes side by side, what a player is known to scatter.

In: a layout, intents, past verdicts. Out: maps, routes and spreads to look at.
"""
