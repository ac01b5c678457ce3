"""How surfaces look and what lights them: cloth, wood, balls, lamps.

In: descriptions out of `looks`, each with its seed. Out: textures, materials and lamps. Bodies
stay as they are.
"""
