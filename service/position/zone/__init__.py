"""The landing zone: as an outline to draw and as a rule to ask.

In: a layout, an intent, a player. Out: `LandingZone`. Where the cue ball went is not known here.
"""
