"""Sample stills, rendered: a practice session on one table and twelve stills of other rooms.

Each folder's ``truth.json`` says how its stills were made and where everything lies. Data only;
``python -m vision.training.sample_frames`` makes them again.
"""
