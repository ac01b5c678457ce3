"""A table followed from one live still to the next: what happened, and what lies there now.

In: layouts in order of arrival, or what is stored of them. Out: outcomes and the chain that the
next still is compared with. Values alone: the store is neither read nor written here.
"""
