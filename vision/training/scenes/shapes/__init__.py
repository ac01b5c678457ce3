"""Bodies of the scene in table mm: solids, rails, pockets, boards.

In: the table model, descriptions out of `looks`, materials that others made. Out: meshes, and
parts of them. Lights nothing; what varies hangs on the description's own seed.
"""
