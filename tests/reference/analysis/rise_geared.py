"""Torque rise of a clamped geared wheelbase with backlash, for the latency fit.  numpy 2.4.6, scipy 1.17.1.

Run: /opt/pyref/bin/python tests/reference/analysis/rise_geared.py > analysis/tests/data/rise/geared.csv

Onset of the motor's torque is at t = 0: pure delays are added by the test. Chain as in rise.py, other figures: slew limit
1 N.m/ms, current loop 400 Hz, rotor 2.4e-3 and hub 6e-4 kg.m2 joined by gears (250 N.m/rad, 0.25 N.m.s/rad) with 0.40
degrees of backlash (dead zone of the twist; spring and damper act in contact alone), held by sensor and fixture (3333
N.m/rad, 0.2 N.m.s/rad), LuGre friction 0.14 and 0.08 N.m, amplifier 1000 Hz.

Columns: "zero" from rest in the middle of the gap, so the rotor crosses half of it before anything is felt; "preload" from
rest after a ramp up to 0.9 N.m, in contact. Commanded changes of 0.6, 1.2 and 2.0 N.m. Last line: instants at which the
contact closes (ms), as a comment.
"""
import numpy as np
from scipy.integrate import solve_ivp

JM, JH, K, C, GAP = 2.4e-3, 6e-4, 250.0, 0.25, np.radians(0.40)
KR, CR = 1 / (1 / 4000 + 1 / 2e4), 0.2
WC, WS, SLEW = 2 * np.pi * 400, 2 * np.pi * 1000, 1000.0
RATIO, VS, VISC = 1.25, 0.10, 0.012
S0 = 1 / np.radians(0.08)
MOTOR, HUB = (0.14, 0.1), (0.08, 0.05)


def lugre(side, v, z):
    tc, s1 = side
    g = tc * (1 + (RATIO - 1) * np.exp(-((v / VS) ** 2)))
    dz = v - abs(v) * z * S0 * tc / g
    return tc * S0 * z + s1 * np.exp(-((v / VS) ** 2)) * dz, dz


def gears(twist, rate):
    """Torque of the gears: no pull, only push, on either flank."""
    over = twist - np.sign(twist) * GAP / 2
    if abs(twist) <= GAP / 2:
        return 0.0
    torque = K * over + C * rate
    return torque if torque * twist > 0 else 0.0


def rhs(demand):
    def f(t, x):
        i, a, va, b, vb, zm, zh, s, vs = x
        fm, dzm = lugre(MOTOR, va, zm)
        fh, dzh = lugre(HUB, vb, zh)
        g = gears(a - b, va - vb)
        rig = KR * b + CR * vb
        return [WC * (demand(t) - i), va, (i - fm - VISC * va - g) / JM, vb, (g - fh - rig) / JH, dzm, dzh, vs,
                WS**2 * (rig - s) - np.sqrt(2) * WS * vs]

    return f


def solve(demand, knots, x, t=None, max_step=1e-5):
    out = np.zeros(0 if t is None else len(t))
    closes = None
    for lo, hi in zip(knots, knots[1:]):
        contact = lambda t, x: x[1] - x[3] - GAP / 2
        sol = solve_ivp(rhs(demand), (lo, hi), x, method="RK45", rtol=1e-8, atol=1e-11, max_step=max_step,
                        dense_output=t is not None, events=contact)
        if t is not None:
            m = (t >= lo) & (t <= hi)
            out[m] = sol.sol(t[m])[7]
        if closes is None and sol.t_events[0].size:
            closes = sol.t_events[0][0]
        x = sol.y[:, -1]
    return out, x, closes


def ramp(s, nm):
    return lambda t: np.interp(t, s, nm)


def run(change, before, t):
    x, base = np.zeros(9), 0.0
    if before == "preload":
        s, base = [0, 0.05, 0.25], 0.9
        _, x, _ = solve(ramp(s, [0, base, base]), s, x, max_step=1e-4)
    knee = change / SLEW
    out, _, closes = solve(ramp([0, knee, 1], [base, base + change, base + change]), [0, knee, t[-1]], x, t)
    return out - x[7], closes


def main():
    """Prints the columns."""
    t = np.arange(0, 0.0801, 50e-6)
    names = [(b, a) for b in ("zero", "preload") for a in (0.6, 1.2, 2.0)]
    cols, closes = zip(*(run(a, b, t) for b, a in names))
    print("t_s," + ",".join(f"{b}_{a}" for b, a in names))
    for row in zip(t, *cols):
        print(f"{row[0]:.6f}," + ",".join(f"{v:.7f}" for v in row[1:]))
    print("# contact closes, ms: " + ", ".join("-" if c is None else f"{1e3 * c:.4f}" for c in closes))


if __name__ == "__main__":
    main()
