"""What many attempts add up to: rates, distances, weak side, trends, each with its interval.

In: verdicts in the order of play. Out: figures, never words or drawings. Reads no store.
"""
