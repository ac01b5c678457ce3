"""Bodies of the scene in table mm: solids, rails, pockets, boards.

In: descriptions out of `looks`. Out: meshes. No colour, light or chance.
"""
