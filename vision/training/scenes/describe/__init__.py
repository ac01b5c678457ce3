"""Seeds to descriptions: which room, which table, which balls where.

In: a seeded generator. Out: frozen `looks`. What a scene holds, and where, is chosen here; what
varies within a thing hangs on a seed that its description carries. Nothing becomes a shape here.
"""
