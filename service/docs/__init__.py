"""What a player and a programmer look up: pages in Markdown, shown by the service under ``/docs``.

In: the pages beside this file. Out: their titles and their text as HTML. Knows no practice.
"""
