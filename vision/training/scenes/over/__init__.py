"""What lies, stands or leans over the table: things, arms, people, and what they hide.

In: descriptions out of `looks`, each with its seed. Out: parts for the scene, and what of the bed
they hide in the picture.
"""
