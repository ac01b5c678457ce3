"""Before the shot: chances over the bed, routes side by side, how a player scatters and reaches.

In: layouts, intents, past verdicts. Out: maps, routes, spreads and reach to look at or to keep.
Predicts no spin, and keeps nothing itself.
"""
