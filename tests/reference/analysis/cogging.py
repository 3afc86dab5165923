"""Orders of a torque over the angle by numpy, for the tests of cogging.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/cogging.py > analysis/tests/data/drivetrain/cogging.json
A turn and a half at a speed that surges; regression by lstsq on the samples, and the spectrum of the torque read at even
angles over one turn by scipy's cubic spline.
"""
import json

import numpy as np
from scipy import interpolate

rng = np.random.default_rng(5)
fs, n = 200.0, 1600
t = np.arange(n) / fs
angle = 0.3 + 2 * np.pi * (0.2 * t + 0.01 * np.sin(2 * np.pi * 0.7 * t))
torque = 0.4 + 0.03 * np.cos(7 * angle - 0.4) + 0.02 * np.cos(11.5 * angle + 1.0) + 0.002 * rng.standard_normal(n)
orders = [1.0, 7.0, 11.5]
columns = [np.ones(n)]
for k in orders:
    columns += [np.cos(k * angle), np.sin(k * angle)]
columns = np.array(columns).T
c, rss, _, _ = np.linalg.lstsq(columns, torque, rcond=None)
points = 256
first = int(np.ceil(angle[1] / (2 * np.pi / points)))
grid = (first + np.arange(points)) * 2 * np.pi / points
even = interpolate.CubicSpline(angle, torque)(grid)
spectrum = np.fft.rfft(even - even.mean()) * 2 / points
print(json.dumps(dict(angle=angle.tolist(), torque=torque.tolist(), orders=orders, c=c.tolist(), rss=float(rss[0]),
                      condition=float(np.linalg.cond(columns / np.linalg.norm(columns, axis=0))),
                      points=points, even=even.tolist(), amplitude=np.abs(spectrum).tolist())))
