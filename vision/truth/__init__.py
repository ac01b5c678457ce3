"""Stills of known truth, and how a reading compares with it; for benches and tests.

In: `truth.json` and layouts. Out: figures. Nothing that reads a still may import it.
"""
