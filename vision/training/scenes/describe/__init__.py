"""Seeds to descriptions: which room, which table, which balls where.

In: a seeded generator. Out: frozen `looks`. All chance of a scene is here; nothing is drawn.
"""
