"""One question each about one shot: cut, path, window, hooked, reach, cueing, frozen.

In: places in table mm and a player. Out: a figure or a word. Knows nothing of zones.
"""
