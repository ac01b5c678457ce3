"""One question each about one shot: cut, path, window, chance, deflection, hooked, reach, cueing.

In: places in table mm and a player. Out: a figure or a word. Knows nothing of zones.
"""
