"""Friction fits by scipy on small arrays, for the friction's tests.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/friction.py > analysis/tests/data/drivetrain/friction.json
"""
import json

import numpy as np
from scipy import integrate, optimize, signal

rng = np.random.default_rng(11)
out = {}

# A low-pass to and fro: butter and sosfiltfilt, odd ends of the length that the filter under test uses.
x = np.cumsum(rng.standard_normal(400)) + 3
cases = []
for order, corner in ((2, 30.0), (4, 20.0), (8, 90.0)):
    sos = signal.butter(order, corner, fs=1000.0, output="sos")
    reach = int(np.ceil(1.5 * 1000.0 / corner))
    cases.append(dict(order=order, corner=corner, y=signal.sosfiltfilt(sos, x, padtype="odd", padlen=reach).tolist()))
out["low_pass"] = dict(fs=1000.0, x=x.tolist(), cases=cases)

# A friction curve: both directions, uneven uncertainties.
v = np.geomspace(0.02, 8, 14)
v = np.r_[-v[::-1], v]
u = 0.001 * (1 + rng.random(v.size))


def curve(v, cp, cm, fp, fm, vs, b):
    return np.sign(v) * (np.where(v > 0, cp, cm) + np.where(v > 0, fp, fm) * np.exp(-(v / vs) ** 2)) + b * v


t = curve(v, 0.26, 0.24, 0.07, 0.05, 0.1, 0.012) + u * rng.standard_normal(v.size)
best, cov = optimize.curve_fit(curve, v, t, [0.2, 0.2, 0.04, 0.04, 0.2, 0.02], sigma=u, absolute_sigma=True, xtol=1e-14,
                               ftol=1e-14, gtol=1e-14)
ratio = 1 + (best[2] + best[3]) / (best[0] + best[1])
slope = np.r_[[(1 - ratio) / (best[0] + best[1])] * 2, [1 / (best[0] + best[1])] * 2, 0, 0]
out["curve"] = dict(ratio=ratio, ratio_sd=float(np.sqrt(slope @ cov @ slope)), v=v.tolist(), t=t.tolist(), u=u.tolist(), best=best.tolist(), sd=np.sqrt(np.diag(cov)).tolist(),
                    chi2=float(np.sum(((t - curve(v, *best)) / u) ** 2)))

# Coasting down, integrated by scipy, with a reading error; fitted by scipy on the same model integrated again.
fs, inertia = 500.0, 0.012
runs = []
for w0 in (20.0, -19.0, 18.0, -18.5, 19.5, -20.0):
    c, b = (0.16, 0.02) if w0 > 0 else (0.14, 0.02)
    tt = np.arange(0, 0.72, 1 / fs)

    def turned(w, c, b):
        rhs = lambda _t, y: [y[1], -(c * np.sign(w0) + b * y[1]) / inertia]
        return integrate.solve_ivp(rhs, (0, tt[-1]), [0, w], t_eval=tt, rtol=1e-10, atol=1e-12).y[0]

    a = turned(w0, c, b) + 1e-4 * rng.standard_normal(tt.size)
    best, _ = optimize.curve_fit(lambda _t, o, w, c, b: o + turned(w, c, b), tt, a, [0, w0, 0.1, 0.01])
    runs.append(dict(angle=a.tolist(), coulomb=best[2], viscous=best[3]))
out["coast"] = dict(fs=fs, inertia=inertia, runs=runs)

# Least squares with neighbours of one another: numpy's own solution and condition number of unit columns.
a = rng.standard_normal((60, 4))
a[:, 3] = a[:, 2] + 0.05 * a[:, 3]
y = a @ [1.0, -2.0, 0.5, 0.25] + 0.1 * rng.standard_normal(60)
c, rss, _, _ = np.linalg.lstsq(a, y, rcond=None)
out["linear"] = dict(a=a.T.tolist(), y=y.tolist(), c=c.tolist(), rss=float(rss[0]),
                     condition=float(np.linalg.cond(a / np.linalg.norm(a, axis=0))),
                     inverse=np.linalg.inv(a.T @ a).tolist())
print(json.dumps(out))
