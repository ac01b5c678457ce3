"""What the player means to do, and who the player is.

In: JSON of intents, drawn zones and player files. Out: checked values. No geometry is judged.
"""
