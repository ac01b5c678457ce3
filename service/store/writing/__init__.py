"""Changes to the store, one module a subject; ``Writer`` puts them together.

In: values to keep. Out: the records they became. All of one writer belongs to one transaction, and
nothing is erased but what the room says: corrections taken back, guides, events of old.
"""
