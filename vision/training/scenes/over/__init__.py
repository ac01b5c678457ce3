"""What lies, stands or leans over the table: things, arms, people, and what they hide.

In: descriptions out of `looks`. Out: parts for the scene, and the share of a ball that is hidden.
"""
