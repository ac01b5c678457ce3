"""What the set-up says to a player: how good it is, what is missing, why not and what to do.

By codes and fields alone, never by other sentences: those that come with an error speak of the
command line too, and stand behind these for who wants them whole.
"""
