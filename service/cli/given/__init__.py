"""What a command is given, made into values: options, stills and layouts, the ground they lie on.

In: paths and words as typed. Out: calibrated layouts, players, plans, a session that goes into a
store. No command is defined here and nothing is printed but progress.
"""
