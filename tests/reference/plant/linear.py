"""Modes, flat band, -3 dB and peak of the units' linear models, by matrices.

Independent of the Rust ladder: M, C and K of all masses side by side, `linalg.eig` for the undamped modes,
`linalg.solve` at each frequency for the response; hold, current loop in front. Mean gain at 1 to 5 Hz is the reference.

Run: /opt/pyref/bin/python tests/reference/plant/linear.py
"""

import pathlib

import numpy as np
from scipy.optimize import brentq

import unit


def matrices(u):
    """M, C, K of motor, shaft if any, hub; the last spring goes to ground through sensor and fixture."""
    stages = ([u.gear.mesh] if u.gear else []) + [u.drive]
    masses = [u.jm] + ([u.gear.js] if u.gear else []) + [u.jh]
    viscous = [u.fm.s2] + ([u.gear.bs] if u.gear else []) + [u.fh.s2]
    n = len(masses)
    k, c = np.zeros((n, n)), np.diag(viscous).astype(float)
    for i, s in enumerate(stages):
        b = np.zeros(n)
        b[i], b[i + 1] = 1, -1
        k += s.k * np.outer(b, b)
        c += s.c * np.outer(b, b)
    k[-1, -1] += u.kr
    c[-1, -1] += u.cr
    return np.diag(masses), c, k


def response(u, f):
    """|rim torque / setpoint| at `f` Hz."""
    m, c, k = matrices(u)
    s = 2j * np.pi * f
    load = np.zeros(len(m))
    load[0] = 1
    hub = np.linalg.solve(m * s * s + c * s + k, load)[-1]
    front = u.gain * u.flux * np.sinc(f * u.poll_s) / (1 + s / u.loop)
    return abs(front * hub * (u.kr + u.cr * s))


def main():
    """Prints a line a figure."""
    rigs = pathlib.Path(__file__).resolve().parents[3] / "rigs"
    for name in ("belt", "geared", "direct"):
        u = unit.load(rigs / f"{name}.toml")
        m, _, k = matrices(u)
        hz = lambda m, k: np.sort(np.sqrt(np.linalg.eig(np.linalg.solve(m, k))[0].real)) / (2 * np.pi)
        reference = np.mean([response(u, f) for f in (1.0, 2.0, 3.0, 4.0, 5.0)])
        db = lambda f: 20 * np.log10(response(u, f) / reference)
        f = np.geomspace(5, 400, 20_000)
        d = np.array([db(x) for x in f])
        i = np.nonzero(np.abs(d) > 3)[0][0]
        j = np.nonzero(d >= -3)[0][-1]
        top = int(np.argmax(d))
        print(name, "modes", hz(m, k), "ideal clamp", hz(m[:-1, :-1], k[:-1, :-1]))
        print("   gain", reference, "flat", brentq(lambda x: abs(db(x)) - 3, f[i - 1], f[i]),
              "-3 dB", brentq(lambda x: db(x) + 3, f[j], f[j + 1]), "peak", f[top], 10 ** (d[top] / 20))


if __name__ == "__main__":
    main()
