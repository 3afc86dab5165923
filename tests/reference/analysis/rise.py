"""Torque rise of a clamped belt-driven wheelbase, for the latency fit.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/rise.py > analysis/tests/data/rise/rise.csv

Onset is at t = 0: pure delays are added by the test.  Chain: slew limit 2 N.m/ms, current loop 500 Hz first order, two
inertias (rotor 2.0e-3, hub 1.0e-3 kg.m2) joined by the belt (900 N.m/rad, 0.40 N.m.s/rad) and held by sensor and fixture
(4000 and 2e4 N.m/rad in series, 0.05 N.m.s/rad), LuGre friction 0.15 N.m on the rotor (break-away 1.25, pre-sliding
0.08 degree), amplifier second-order Butterworth 1000 Hz
(delay sqrt(2)/(2 pi 1000) = 225.079 us at low frequency).  Columns: t, then torque at the sensor for
commanded 0.7, 1.75, 3.5 N.m without friction and with it.
"""
import numpy as np
from scipy.integrate import solve_ivp

JM, JH, K, C = 2.0e-3, 1.0e-3, 900.0, 0.40
KR, CR = 1 / (1 / 4000 + 1 / 2e4), 0.05
WC, WS, SLEW = 2 * np.pi * 500, 2 * np.pi * 1000, 2000.0
TC, RATIO, VS, VISC = 0.15, 1.25, 0.10, 0.012
S0 = TC / np.radians(0.08)
S1 = 0.2 * np.sqrt(S0 * JM)


def rhs(amplitude, friction):
    def f(t, x):
        i, a, va, b, vb, z, s, vs = x
        u = min(SLEW * t, amplitude)
        if friction:
            g = TC * (1 + (RATIO - 1) * np.exp(-(va / VS) ** 2)) / S0
            dz = va - abs(va) * z / g
            fric = S0 * z + S1 * dz + VISC * va
        else:
            dz, fric = 0.0, VISC * va
        belt = K * (a - b) + C * (va - vb)
        rig = KR * b + CR * vb
        return [WC * (u - i), va, (i - fric - belt) / JM, vb, (belt - rig) / JH, dz, vs, WS**2 * (rig - s) - np.sqrt(2) * WS * vs]

    return f


def run(amplitude, friction, t):
    knee = amplitude / SLEW
    out = np.zeros(len(t))
    x = np.zeros(8)
    for lo, hi in ((0.0, knee), (knee, t[-1])):
        sol = solve_ivp(rhs(amplitude, friction), (lo, hi), x, method="DOP853", rtol=1e-10, atol=1e-12, max_step=2e-5,
                        dense_output=True)
        m = (t >= lo) & (t <= hi)
        out[m] = sol.sol(t[m])[6]
        x = sol.y[:, -1]
    return out


t = np.arange(0, 0.0701, 50e-6)
cols = [run(a, f, t) for f in (False, True) for a in (0.7, 1.75, 3.5)]
print("t_s,linear_0.7,linear_1.75,linear_3.5,friction_0.7,friction_1.75,friction_3.5")
for row in zip(t, *cols):
    print(f"{row[0]:.6f}," + ",".join(f"{v:.7f}" for v in row[1:]))
