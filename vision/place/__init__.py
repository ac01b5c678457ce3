"""Where a ball exactly is: a crop along its own line of sight to a centre with covariance.

In: a still, a calibration and candidates. Out: centres in table mm, 2×2 covariances, and how
likely each is a ball. Runs the crop network; names are not its business.
"""
