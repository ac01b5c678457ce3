"""Setting up: what a player does once, or again after the camera moved, before anything is read.

In: stills that are kept in memory only, and what was measured beside them. Out: proposals (a
calibration, a lens, a reach), each with its error and under a number, that change nothing before
somebody adopts them; then the desk or the folder of lenses gets them. Work that takes longer than
a blink runs in a thread of this room, beside the desk's. It knows no HTTP and draws nothing.
"""
