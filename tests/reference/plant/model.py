"""Right-hand side of the clamped plant, written from the equations in rigs/virtual/src/plant/*.rs.

State: [T, th_m, w_m, th_h, w_h, z_m, z_h]: motor torque, motor and hub angle and speed (all at the rim), bristles.
Works on arrays of shape (7,) and (7, n). Heating over the fractions of a second looked at here is left out.
"""

import numpy as np


def bristle(f, v, z):
    """Rate of the deflection, and torque against the motion."""
    g = f.tc + (f.ts - f.tc) * np.exp(-(v / f.vs) ** 2)
    dz = v - f.s0 * np.abs(v) * z / g
    return dz, f.s0 * z + f.s1 * np.exp(-(v / f.vd) ** 2) * dz + f.s2 * v


def rhs(u, demand, y):
    """dy/dt with the slewed torque demand `demand`."""
    t, thm, wm, thh, wh, zm, zh = y
    low, high = u.kt * (-u.volt - u.ke * wm) / u.r, u.kt * (u.volt - u.ke * wm) / u.r
    dt = u.loop * (np.clip(demand, low, high) - t)
    dzm, fm = bristle(u.fm, wm, zm)
    dzh, fh = bristle(u.fh, wh, zh)
    ripple = sum((a + b * t) * np.sin(n * thm + p) for n, a, b, p in u.ripple)
    drive = u.k * (thm - thh) + u.c * (wm - wh)
    sensor = u.kr * thh + u.cr * wh
    return np.array([dt, wm, (t + ripple - fm - drive) / u.jm, wh, (drive - fh - sensor) / u.jh, dzm, dzh])


def rim_torque(u, y):
    """Torque through the sensor."""
    return u.kr * y[3] + u.cr * y[4]
