"""Slow loops of torque over a joint with a gap, by scipy, for the tests of backlash.  numpy 2.4.6, scipy 1.17.1.

A quasi-static joint: spring with a dead zone in series with nothing, a friction element of many small sliders in
parallel (Iwan's model, so that friction turns over gradually after a reversal), twist driven as a triangle. The flanks
are fitted by scipy.odr, which is orthogonal regression, for comparison.

Run: /opt/pyref/bin/python tests/reference/analysis/backlash.py > analysis/tests/data/drivetrain/backlash.json
"""
import json
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from scipy import odr

rng = np.random.default_rng(3)
K, GAP, FRICTION, REACH = 250.0, np.radians(0.40), 0.08, np.radians(0.05)
TOP = 0.5 * GAP + 1.5 / K
SIGMA = (2e-5, 2e-3)


def joint(twist):
    """Torque at each twist: dead zone and sliders."""
    yields = np.linspace(0.1, 1.9, 19) * REACH
    stiffness = FRICTION / yields.sum()
    pull = np.zeros_like(yields)
    torque, before = [], twist[0]
    for a in twist:
        pull = np.clip(pull + a - before, -yields, yields)
        before = a
        spring = K * (a - np.clip(a, -GAP / 2, GAP / 2))
        torque.append(spring + stiffness * pull.sum())
    return np.array(torque)


loops, points = 4, 1600
phase = np.arange(loops * points) / points + 0.25
twist = TOP * (4 * np.abs((phase % 1) - 0.5) - 1)
torque = joint(twist)
read = twist + SIGMA[0] * rng.standard_normal(twist.size)
felt = torque + SIGMA[1] * rng.standard_normal(twist.size)

# Reference: both flanks of all branches, friction settled, by orthogonal distance regression.
sense = np.sign(np.gradient(twist))
settled = np.ones(twist.size, bool)
start = 0
for i in range(1, twist.size):
    if sense[i] != sense[i - 1]:
        start = i
    settled[i] = abs(torque[i] - torque[start]) > 0.3 * np.ptp(torque)
net = torque - sense * FRICTION
keep = settled & (np.abs(net) > 0.05 * np.abs(torque).max())
side = np.sign(net)


def flank(b, x):
    t, s, d = x
    return b[1] + 0.5 * s * b[0] + np.where(s > 0, b[2], b[3]) * (t - d * b[4])


x = np.vstack([felt[keep], side[keep], sense[keep]])
ones = np.ones(keep.sum())
data = odr.RealData(x, read[keep], sx=np.vstack([SIGMA[1] * ones, 1e-9 * ones, 1e-9 * ones]), sy=SIGMA[0] * ones)
fit = odr.ODR(data, odr.Model(flank), beta0=[0.006, 0, 0.004, 0.004, 0.05], ifixx=[1, 0, 0], maxit=200).run()
print(json.dumps(dict(stiffness=K, gap=GAP, friction=FRICTION, noise=SIGMA, twist=np.round(read, 9).tolist(),
                      torque=np.round(felt, 6).tolist(), odr=fit.beta.tolist(), odr_sd=fit.sd_beta.tolist())))
