"""A settled still to a layout: candidate balls, refined centres with covariance, names.

Imports ``calibration`` and nothing of ``service``.
"""
