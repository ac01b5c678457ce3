"""Questions to the store, one module a subject; ``Reader`` puts them together.

In: numbers, limits, filters. Out: frozen records. Nothing here changes a row, and each answer
comes from the one look at the rows that its connection has.
"""
