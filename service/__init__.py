"""Two layouts and what was meant to a verdict, and many of them to a practice.

In: stills, intents, notes and corrections, from the command line or over HTTP. Out: verdicts,
statistics, drawings, reports, pages. Stands on ``vision`` and ``calibration``; neither knows it.
"""
