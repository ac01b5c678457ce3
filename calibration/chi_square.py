"""Points of the chi-square distribution that errors and intervals are scaled by.

A squared error in units of its own covariance follows it, with as many degrees of freedom (dof)
as the error has directions; the share is the part of all errors below the point. Values are those
of ``scipy.stats.chi2.ppf``, which a test compares: SciPy's statistics take half a second to load.
"""

from __future__ import annotations

import math

PLANE_95 = -2.0 * math.log(0.05)
"""dof 2, share 95 %: 5.991. Exact: with two degrees of freedom the share is 1 − exp(−x/2)."""
PLANE_AXIS_95 = math.sqrt(PLANE_95)
"""Half axis of the 95 % ellipse in two directions, in standard deviations: 2.448."""
LINE_95 = 3.841458820694124
"""dof 1, share 95 %: 3.841, the square of 1.960."""
POSE_999 = 22.457744484825323
"""dof 6, share 99.9 %: a rigid move's three turns and three shifts."""
