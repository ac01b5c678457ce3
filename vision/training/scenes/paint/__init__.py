"""How surfaces look and what lights them: cloth, wood, balls, lamps.

In: descriptions out of `looks`. Out: textures, materials and emitters. Geometry stays as it is.
"""
