"""Seeded scene generator: a still and its exact truth.

Steps in the order in which data meets them: ``room`` (what is there) → ``assemble`` (parts) →
``render`` (linear light, pinhole) → ``lens_warp`` (the recorded lens) → ``sensor`` (JPEG).
"""
