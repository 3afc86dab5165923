"""Torque rise of a clamped belt-driven wheelbase, for the latency fit.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/rise.py > analysis/tests/data/rise/rise.csv

Onset is at t = 0: pure delays are added by the test.  Chain: slew limit 2 N.m/ms, current loop 500 Hz first order, two
inertias (rotor 2.0e-3, hub 1.0e-3 kg.m2) joined by the belt (900 N.m/rad, 0.40 N.m.s/rad) and held by sensor and fixture
(4000 and 2e4 N.m/rad in series, 0.2 N.m.s/rad; the sensor shows the torque of spring and damper), LuGre friction on
rotor and hub (0.15 and 0.10 N.m, break-away 1.25, pre-sliding 0.08 degree, bristle damping dying away over 0.1 rad/s),
amplifier second-order Butterworth 1000 Hz (delay sqrt(2)/(2 pi 1000) = 225.079 us at low frequency).

Columns: t, then torque at the sensor less its base, for a commanded change of 0.7, 1.75, 3.5 N.m: "linear" without
friction; "friction" with the bristles relaxed; "turned" from rest after a ramp of 20 N.m/s down from 2 N.m to zero, so
that friction has to turn round first; "preload" from rest after a ramp of 20 N.m/s from zero up to 1.4 N.m.
"""
import numpy as np
from scipy.integrate import solve_ivp

JM, JH, K, C = 2.0e-3, 1.0e-3, 900.0, 0.40
KR, CR = 1 / (1 / 4000 + 1 / 2e4), 0.2
WC, WS, SLEW = 2 * np.pi * 500, 2 * np.pi * 1000, 2000.0
RATIO, VS, VISC = 1.25, 0.10, 0.012
S0 = 1 / np.radians(0.08)  # of 1 N.m
MOTOR, HUB = (0.15, 0.1), (0.10, 0.05)  # Coulomb torque, bristle damping at rest


def lugre(side, v, z):
    tc, s1 = side
    g = tc * (1 + (RATIO - 1) * np.exp(-((v / VS) ** 2)))
    dz = v - abs(v) * z * S0 * tc / g
    return tc * S0 * z + s1 * np.exp(-((v / VS) ** 2)) * dz, dz


def rhs(demand, friction):
    def f(t, x):
        i, a, va, b, vb, zm, zh, s, vs = x
        fm, dzm = lugre(MOTOR, va, zm) if friction else (0.0, 0.0)
        fh, dzh = lugre(HUB, vb, zh) if friction else (0.0, 0.0)
        belt = K * (a - b) + C * (va - vb)
        rig = KR * b + CR * vb
        return [WC * (demand(t) - i), va, (i - fm - VISC * va - belt) / JM, vb, (belt - fh - rig) / JH, dzm, dzh, vs,
                WS**2 * (rig - s) - np.sqrt(2) * WS * vs]

    return f


def solve(demand, friction, knots, x, t=None, max_step=2e-5):
    """From knot to knot of the demand; values of the sensor at t."""
    out = np.zeros(0 if t is None else len(t))
    for lo, hi in zip(knots, knots[1:]):
        sol = solve_ivp(rhs(demand, friction), (lo, hi), x, method="DOP853", rtol=1e-9, atol=1e-12, max_step=max_step,
                        dense_output=t is not None)
        if t is not None:
            m = (t >= lo) & (t <= hi)
            out[m] = sol.sol(t[m])[7]
        x = sol.y[:, -1]
    return out, x


def ramp(knots_s, knots_nm):
    return lambda t: np.interp(t, knots_s, knots_nm)


def at_rest(before):
    x = np.zeros(9)
    if before == "turned":
        s = [0, 0.1, 0.2, 0.3, 0.42]
        _, x = solve(ramp(s, [0, 2, 2, 0, 0]), True, s, x, max_step=1e-4)
    if before == "preload":
        s = [0, 0.07, 0.19]
        _, x = solve(ramp(s, [0, 1.4, 1.4]), True, s, x, max_step=1e-4)
    return x


def run(amplitude, before, t):
    x = at_rest(before)
    base = 1.4 if before == "preload" else 0.0
    knee = amplitude / SLEW
    out, _ = solve(ramp([0, knee, 1], [base, base + amplitude, base + amplitude]), before != "linear", [0, knee, t[-1]],
                   x, t)
    return out - x[7]


t = np.arange(0, 0.0701, 50e-6)
names = [(b, a) for b in ("linear", "friction", "turned", "preload") for a in (0.7, 1.75, 3.5)]
cols = [run(a, b, t) for b, a in names]
print("t_s," + ",".join(f"{b}_{a}" for b, a in names))
for row in zip(t, *cols):
    print(f"{row[0]:.6f}," + ",".join(f"{v:.7f}" for v in row[1:]))
