"""Seeded scene generator: a still and its exact truth.

In: a seed. Out: JPEG bytes and what lies where. Steps in the order in which data meets them:
``describe`` (what is there, as ``looks``) → ``shapes``, ``paint`` and ``over`` (parts) →
``assemble`` → ``optics`` (light, recorded lens, sensor). All geometry of the table comes from
``calibration.table``.
"""
