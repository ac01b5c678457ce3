"""The lens: a board shown still by still, and the lenses that are kept.

In: stills of a printed board. Out: what is still missing, a lens with its error, and files in the
folder of lenses, the only thing that is written.
"""
