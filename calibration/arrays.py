"""Kinds of arrays that signatures name; shapes, units and frames stand in each docstring."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
