"""Natural cubic spline through five uneven points, by scipy, for bench/core/src/excitation/spline.rs.

Run: python tests/reference/excitation/spline.py
"""

import numpy as np
from scipy.interpolate import CubicSpline

spline = CubicSpline([0, 1, 2.5, 3, 5], [0, 2, 1, -1, 0.5], bc_type="natural")
print(", ".join(f"{v:.15}" for v in spline(np.arange(0, 5.01, 0.5))))
