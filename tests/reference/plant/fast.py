"""The clamped plant of model.py for one unit at a time, compiled by numba where it is there: minutes of torque in seconds.

`run` plays setpoints of 250 µs each through polling, dead time, slew limit and RK4 steps of 25 µs, and gives the torque through the
sensor, free of noise. `python fast.py` holds the compiled right-hand side against model.py's at random states.
"""

import math

import numpy as np

import model
import unit

try:
    from numba import njit
except ImportError:  # right all the same, and slow
    def njit(f):
        """Leaves a function as it is."""
        return f

H, STRIDE = 25e-6, 10  # step, s; steps a setpoint


def pack(u):
    """Parameters as two arrays: scalars, ripple."""
    g = u.gear
    friction = lambda f: [f.tc, f.ts, f.vs, f.s0, f.s1, f.vd, f.s2]
    stage = lambda s: [s.k, s.c, s.half]
    scalars = [u.loop, u.kt, u.volt, u.r, u.ke * u.flux, u.flux, u.jm, u.jh, u.kr, u.cr, *u.bearing,
               *friction(u.fm), *friction(u.fh), *stage(u.drive),
               *(stage(g.mesh) + [g.js, g.bs, g.mu] if g else [0.0] * 6)]
    return np.array(scalars), np.array(u.ripple, dtype=float).reshape(-1, 4), g is not None


@njit
def bristle(p, at, v, z, load):
    """As model.bristle."""
    tc, ts, vs, s0, s1, vd, s2 = p[at], p[at + 1], p[at + 2], p[at + 3], p[at + 4], p[at + 5], p[at + 6]
    g = tc + (ts - tc) * math.exp(-(v / vs) ** 2) + load
    dz = v - s0 * abs(v) * z / g
    return dz, s0 * z + s1 * math.exp(-(v / vd) ** 2) * dz + s2 * v


@njit
def contact(k, c, half, twist, rate):
    """As model.contact."""
    if half <= 0.0:
        return k * twist + c * rate
    beyond = twist - min(max(twist, -half), half)
    torque = k * beyond + c * rate
    if beyond > 0.0:
        return max(torque, 0.0)
    if beyond < 0.0:
        return min(torque, 0.0)
    return 0.0


@njit
def rhs(p, ripples, geared, demand, y, d):
    """As model.rhs, into `d`."""
    t, thm, wm, thh, wh, zm, zh = y[0], y[1], y[2], y[3], y[4], y[5], y[6]
    emf = p[4] * wm
    low, high = p[1] * (-p[2] - emf) / p[3], p[1] * (p[2] - emf) / p[3]
    d[0] = p[0] * (min(max(demand, low), high) - t)
    torque = p[5] * t
    ripple = 0.0
    for i in range(ripples.shape[0]):
        ripple += (ripples[i, 1] + ripples[i, 2] * torque) * math.sin(ripples[i, 0] * thm + ripples[i, 3])
    if geared:
        ths, ws = y[7], y[8]
        mesh = contact(p[29], p[30], p[31], thm - ths, wm - ws)
        drive = contact(p[26], p[27], p[28], ths - thh, ws - wh)
        dzm, fm = bristle(p, 12, wm, zm, p[34] * abs(mesh))
        d[7], d[8] = ws, (mesh - p[33] * ws - drive) / p[32]
    else:
        drive = contact(p[26], p[27], p[28], thm - thh, wm - wh)
        mesh = drive
        dzm, fm = bristle(p, 12, wm, zm, 0.0)
    dzh, fh = bristle(p, 19, wh, zh, 0.0)
    sensor = p[8] * thh + p[9] * wh
    bearing = p[10] * math.sin(thh + p[11])
    d[1], d[2] = wm, (torque + ripple - fm - mesh) / p[6]
    d[3], d[4] = wh, (drive - fh - sensor + bearing) / p[7]
    d[5], d[6] = dzm, dzh


@njit
def play(p, ripples, geared, values, fluxes, first, poll, dead, scale, most, keep, spread):
    """Torque through the sensor every `keep` steps; the rig goes to a setpoint by `spread` a step."""
    gain, offset, peak = scale
    n = len(values) * STRIDE
    kept = np.zeros(n // keep)
    y, w = np.zeros(9), np.zeros(9)
    k1, k2, k3, k4 = np.zeros(9), np.zeros(9), np.zeros(9), np.zeros(9)
    due, asked = np.full(256, -1), np.zeros(256)
    head, tail, target, s, force = 0, 0, 0.0, 0.0, 0.0
    emf = p[4] / p[5]
    for i in range(n):
        if i % STRIDE == 0:
            p[5] = fluxes[i // STRIDE]
            p[4] = emf * p[5]
        away = values[i // STRIDE] - force
        force = values[i // STRIDE] if abs(away) <= spread else force + math.copysign(spread, away)
        if i >= first and (i - first) % poll == 0:
            due[tail % 256], asked[tail % 256] = i + dead, force
            tail += 1
        if head < tail and due[head % 256] == i:
            target = min(max(gain * asked[head % 256] + offset, -peak), peak)
            head += 1
        end = s + min(max(target - s, -most), most)
        middle = 0.5 * (s + end)
        if i % keep == 0:
            kept[i // keep] = p[8] * y[3] + p[9] * y[4]
        rhs(p, ripples, geared, s, y, k1)
        for j in range(9):
            w[j] = y[j] + H / 2 * k1[j]
        rhs(p, ripples, geared, middle, w, k2)
        for j in range(9):
            w[j] = y[j] + H / 2 * k2[j]
        rhs(p, ripples, geared, middle, w, k3)
        for j in range(9):
            w[j] = y[j] + H * k3[j]
        rhs(p, ripples, geared, end, w, k4)
        for j in range(9):
            y[j] += H / 6 * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j])
        s = end
    return kept


def phases(count):
    """Where in its period the firmware is at the start."""
    return (np.arange(count) + 0.5) / count


ALPHA = 0.00393  # of copper, per kelvin
STEP_S = 0.05  # of the heat balances


def rises(u, values):
    """Winding and case temperature over setpoints of 250 µs each, °C, a row a setpoint: both heat balances, from the air's on."""
    h = u.heat
    per = int(round(STEP_S / (STRIDE * H)))
    parts = -(-len(values) // per)
    squares = np.zeros(parts * per)
    squares[:len(values)] = (u.gain * np.asarray(values) / u.kt) ** 2
    i2 = squares.reshape(parts, per).mean(axis=1)
    found, w, c = np.zeros((parts + 1, 2)), h.ambient, h.ambient
    found[0] = w, c
    for k in range(parts):
        across = (w - c) / h.winding_case
        loss = h.loss_factor * i2[k] * h.ohm * (1 + ALPHA * (w - 20))
        w += STEP_S * (loss - across) / h.winding
        c += STEP_S * (across - (c - h.ambient) / h.case_air) / h.case
        found[k + 1] = w, c
    at, known = np.arange(len(values)) * STRIDE * H, np.arange(parts + 1) * STEP_S
    return np.stack([np.interp(at, known, found[:, k]) for k in (0, 1)], 1)


def first_poll(u, phase):
    """Step at which the firmware reads for the first time."""
    return int(phase * u.poll_s / H) // STRIDE * STRIDE + STRIDE // 2


def run(u, values, phase, keep, spread=math.inf):
    """Torque through the sensor every `keep` steps of 25 µs; the first read comes at about `phase` of the polling period, in
    the middle of a setpoint: clocks that drift read them as old as that on average. Magnets lose strength as the case warms.
    `spread`: the rig's own limit on the rate of setpoints, N·m/s."""
    per = lambda t: int(round(t / H))
    p, ripples, geared = pack(u)
    values = np.asarray(values, dtype=float)
    fluxes = 1 - u.heat.flux_loss * (rises(u, values)[:, 1] - 20)
    return play(p, ripples, geared, values, fluxes, first_poll(u, phase), per(u.poll_s), per(u.dead_s),
                (u.gain, u.offset, u.peak), u.slew * H, keep, spread * H)


def main():
    """Compares both right-hand sides."""
    rng = np.random.default_rng(1)
    for rig in ("belt", "direct", "geared"):
        u = unit.load(unit.rigs() / f"{rig}.toml")
        n = model.states(u)
        p, ripples, geared = pack(u)
        for _ in range(200):
            y = rng.normal(size=9) * np.array([2, 5e-3, 0.3, 1e-3, 0.05, 1e-3, 1e-3, 5e-3, 0.3])
            d = np.zeros(9)
            rhs(p, ripples, geared, 1.5, y, d)
            there = model.rhs(u, 1.5, y[:n].copy())
            assert np.allclose(d[:n], there, rtol=1e-10, atol=1e-10), (rig, d, there)
    print("the same at 200 states of each unit")


if __name__ == "__main__":
    main()
