"""What is said where balls are set up by hand, on pages, at the console and on paper.

In: values of `guide` and places of balls. Out: short texts as in the rest of `words`.
"""
