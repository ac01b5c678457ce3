"""What may be asked before a shot: its landing zone, and maps of where a ball can be played from.

In: an intent or a ball, and the layout that lies there. Out: values; nothing is kept.
"""
