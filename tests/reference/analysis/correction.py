"""Isotonic regression and monotone cubic that the correction of a static map is checked against, by scipy.

Prints the lists that analysis/tests/fits/static_map.rs holds. Run: python tests/reference/analysis/correction.py
"""

import numpy as np
import scipy
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

COMMAND = np.array([-4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0])
TORQUE = np.array([-3.7, -2.9, -1.9, -0.8, -0.35, 0.02, 0.01, 0.4, 1.7, 2.8, 3.3])

rising = isotonic_regression(TORQUE).x
print("scipy", scipy.__version__)
print("isotonic", rising.tolist())
# Levels of one torque: the middle of their commands.
knots = sorted(set(rising.tolist()))
middle = [np.mean([COMMAND[rising == k].min(), COMMAND[rising == k].max()]) for k in knots]
inverse = PchipInterpolator(knots, middle)
wanted = [-3.7, -3.3, -2.0, -0.5, 0.0, 0.2, 1.0, 2.5, 3.2, 3.3]
print("commands", np.round(inverse(wanted), 9).tolist())
