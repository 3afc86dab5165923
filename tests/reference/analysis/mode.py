"""Equivalent mode of a computed response: what 'first resonance' and its damping mean on a system with friction.

A clamped unit with friction has no natural frequency of its own: its response depends on the amplitude. The measurand is
that of the linear mode `(a + b x + c x^2) / (1 - r^2 + 2 i zeta r)`, r = f/f0, with complex a, b, c and x = f/f_peak - 1,
that lies nearest, in relative error, to the response over f_peak/1.35 to f_peak*1.35, a delay taken out that leaves the
numerator the same phase at both ends; the sweep's amplitude and preload are part of the conditions. Here it is taken from the sine-by-sine response of tests/reference/plant/truth.py, by scipy.

Run: /opt/pyref/bin/python tests/reference/analysis/mode.py [FILE.json ...]
"""
import json
import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares

REACH = 1.35


def nearest(f, g, x):
    """Natural frequency and damping ratio, the delay already taken out."""
    # Bands of the bench are equally spaced in log f: weight whole Hz accordingly.
    weight = 1 / np.abs(g) / np.sqrt(f)

    def miss(p):
        shape = 1 / (1 - (f / np.exp(p[0])) ** 2 + 2j * np.exp(p[1]) * f / np.exp(p[0]))
        basis = (shape * weight)[:, None] * x[:, None] ** np.arange(3)
        c = np.linalg.lstsq(basis, g * weight, rcond=None)[0]
        e = basis @ c - g * weight
        return np.r_[e.real, e.imag]

    fit = least_squares(miss, [np.log(f[x == 0][0]), np.log(0.1)], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return np.exp(fit.x[0]), np.exp(fit.x[1])


def mode(f, g):
    """Natural frequency and damping ratio."""
    peak = f[np.argmax(np.abs(g))]
    keep = (f >= peak / REACH) & (f <= peak * REACH)
    f, g = f[keep], g[keep]
    turned = np.unwrap(np.angle(g))
    f0, zeta = peak, 0.1
    for _ in range(8):
        # The delay that is taken out is the one that leaves the numerator the same phase at both ends.
        own = np.angle(1 / (1 - (f / f0) ** 2 + 2j * zeta * f / f0))
        delay = ((own[-1] - own[0]) - (turned[-1] - turned[0])) / (2 * np.pi * (f[-1] - f[0]))
        f0, zeta = nearest(f, g * np.exp(2j * np.pi * f * delay), f / peak - 1)
    return f0, zeta


def main():
    """Prints a line a file."""
    here = pathlib.Path(__file__).resolve().parents[1] / "plant" / "belt-1.4-on-1.5-every-250us.json"
    for name in sys.argv[1:] or [here]:
        d = json.load(open(name, encoding="utf-8"))
        f0, zeta = mode(np.array(d["f_hz"]), np.array(d["gain"]) * np.exp(1j * np.radians(d["phase_deg"])))
        print(f"{pathlib.Path(name).name}: resonance {f0:.4f} Hz, damping {zeta:.5f}")


if __name__ == "__main__":
    main()
