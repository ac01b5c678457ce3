"""What many attempts cost: page, statistics and the first page after a start, as a store grows.

In: how many attempts. Out: a store filled with attempts at random, and times measured on it by a
service in a process of its own; or the same store moved. ``python -m service.bench.growth``.
"""
