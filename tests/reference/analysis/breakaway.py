"""Where on a slow ramp a LuGre rim breaks away: torque at a speed or angle over the true breakaway torque, by scipy.

Shows which reading to take: the last crossing of 0.02 rad/s lies within 2 % of the truth for ramps up to 0.05 N.m/s on
three invented units, and crossings of 0.01 and 0.05 rad/s lie on either side of it.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/breakaway.py
"""
import numpy as np
from scipy.integrate import solve_ivp

ANGLES_DEG, SPEEDS = (0.25, 0.5, 1, 2), (0.005, 0.01, 0.02, 0.05)
UNITS = dict(  # inertia, Coulomb, breakaway ratio, Stribeck speed, pre-sliding angle in degrees, viscous
    belt=(0.013, 0.25, 1.25, 0.1, 0.08, 0.012),
    gear=(0.012, 0.22, 1.4, 0.15, 0.1, 0.01),
    direct=(0.019, 0.1, 1.1, 0.05, 0.05, 0.015),
)


def ramp(inertia, coulomb, ratio, stribeck, reach_deg, viscous, rate):
    """Torque over breakaway torque at the angles and speeds."""
    s0, top = coulomb / np.radians(reach_deg), coulomb * ratio
    s1 = 0.2 * np.sqrt(s0 * inertia)

    def rhs(t, y):
        dz = y[1] - s0 * abs(y[1]) * y[2] / (coulomb + (top - coulomb) * np.exp(-(y[1] / stribeck) ** 2))
        return [y[1], (rate * t - s0 * y[2] - s1 * dz - viscous * y[1]) / inertia, dz]

    def away(_t, y):
        return y[0] - np.radians(3)

    away.terminal = True
    s = solve_ivp(rhs, (0, 2 * top / rate), [0, 0, 0], method="Radau", rtol=1e-8, atol=1e-11, max_step=0.02,
                  events=away, dense_output=True)
    t = np.linspace(0, s.t[-1], 200001)
    angle, speed = s.sol(t)[:2]
    at = [t[np.searchsorted(angle, np.radians(a))] for a in ANGLES_DEG]
    at += [t[np.flatnonzero(speed < v)[-1]] for v in SPEEDS]
    return np.round(rate * np.array(at) / top, 4)


if __name__ == "__main__":
    print("angles, degree", ANGLES_DEG, "speeds, rad/s", SPEEDS)
    for name, unit in UNITS.items():
        for rate in (0.02, 0.05, 0.1, 0.2):
            print(name, rate, "N.m/s", *ramp(*unit, rate))
