"""How many stills a second a service takes, how long each waits, and what bounds it.

In: a rate and a time. Out: figures of a service in a process of its own, or of one that is running
already. ``python -m service.bench.load``.
"""
