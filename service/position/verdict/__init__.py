"""Where the cue ball stopped against what was meant, and what that cost.

In: two layouts, an intent, a player. Out: `Verdict`. Keeps nothing.
"""
