"""Stills of known truth, and how a reading compares with it; for benches, the demo and tests.

In: `truth.json` and layouts. Out: figures. No step of a reading may import it.
"""
