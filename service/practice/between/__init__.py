"""What happened between two layouts of one table: a shot, a hand, or neither.

In: the layout before, the layout after, the earlier ones of the sequence, the intent and what
frames showed, where there are any. Out: `Outcome`. Keeps nothing, reads no stills.
"""
