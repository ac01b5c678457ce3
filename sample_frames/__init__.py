"""Sample stills, rendered: a practice session on one table and twelve stills of other rooms.

Each folder's ``truth.json`` says how its stills were made and where everything lies. Data only;
``python -m vision.training.sample_frames`` makes them again.

``practice/clip`` is a video of two shots on that table, ``played.json`` says what was played. It is
simulated: balls cut out of the stills roll over their empty table by simple mechanics, and nothing
was filmed. ``python tests/sample_clip.py`` makes it again.
"""
