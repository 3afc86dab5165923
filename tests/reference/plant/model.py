"""Right-hand side of the clamped plant, written from the equations in rigs/virtual/src/plant/*.rs.

State: [T, th_m, w_m, th_h, w_h, z_m, z_h] and, with a gear stage, [th_s, w_s]: nominal motor torque, motor and hub angle
and speed (all at the rim), bristles, the shaft between gear and belt. Works on arrays of shape (7,) and (7, n), or 9.
Heating over the fractions of a second looked at here is left out; the end stops are far away.
"""

import numpy as np


def states(u):
    """Number of states."""
    return 9 if u.gear else 7


def bristle(f, v, z, load=0.0):
    """Rate of the deflection, and torque against the motion, under a load that raises the friction level."""
    g = f.tc + (f.ts - f.tc) * np.exp(-(v / f.vs) ** 2) + load
    dz = v - f.s0 * np.abs(v) * z / g
    return dz, f.s0 * z + f.s1 * np.exp(-(v / f.vd) ** 2) * dz + f.s2 * v


def contact(s, twist, rate):
    """Torque of a stage with a gap: teeth push, never pull. Without a gap the damper acts always."""
    if s.half <= 0:
        return s.k * twist + s.c * rate
    beyond = twist - np.clip(twist, -s.half, s.half)
    torque = s.k * beyond + s.c * rate
    return np.where(beyond > 0, np.maximum(torque, 0), np.where(beyond < 0, np.minimum(torque, 0), 0.0))


def rhs(u, demand, y):
    """dy/dt with the slewed torque demand `demand`."""
    t, thm, wm, thh, wh, zm, zh = y[:7]
    emf = u.ke * u.flux * wm
    low, high = u.kt * (-u.volt - emf) / u.r, u.kt * (u.volt - emf) / u.r
    dt = u.loop * (np.clip(demand, low, high) - t)
    torque = u.flux * t
    ripple = sum((a + b * torque) * np.sin(n * thm + p) for n, a, b, p in u.ripple)
    if u.gear:
        ths, ws = y[7:]
        mesh = contact(u.gear.mesh, thm - ths, wm - ws)
        drive = contact(u.drive, ths - thh, ws - wh)
        dzm, fm = bristle(u.fm, wm, zm, u.gear.mu * np.abs(mesh))
        shaft = [ws, (mesh - u.gear.bs * ws - drive) / u.gear.js]
    else:
        mesh = drive = contact(u.drive, thm - thh, wm - wh)
        dzm, fm = bristle(u.fm, wm, zm)
        shaft = []
    dzh, fh = bristle(u.fh, wh, zh)
    sensor = u.kr * thh + u.cr * wh
    bearing = u.bearing[0] * np.sin(thh + u.bearing[1])
    return np.array([dt, wm, (torque + ripple - fm - mesh) / u.jm,
                     wh, (drive - fh - sensor + bearing) / u.jh, dzm, dzh, *shaft])


def rim_torque(u, y):
    """Torque through the sensor."""
    return u.kr * y[3] + u.cr * y[4]
