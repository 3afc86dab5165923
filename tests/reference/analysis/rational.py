"""A response with noise and its maximum-likelihood fit by scipy, for the rational fit's tests.  control 0.10, scipy 1.17.1.

Truth by python-control: two modes (93 Hz, 0.12 with a zero; 327 Hz, 0.08) and a lag of 500 Hz, delay 3.9 ms. Three repeats
with circular normal errors of 0.5 % of the magnitude each, seed 11. The fit: delay, two pairs, one real pole and one
zero, by scipy.optimize.least_squares from the truth, weighted by the errors of the mean; covariance
(J'J)^-1. Also what control's truth says of bandwidth, flat band and the -90 degree frequency.

Run: /opt/pyref/bin/python tests/reference/analysis/rational.py > analysis/tests/data/rational.json
"""
import json

import control
import numpy as np
from scipy.optimize import brentq, least_squares

TAU = 2 * np.pi
DELAY = 3.9e-3


def pair(f, z):
    w = TAU * f
    return control.tf([w * w], [1, 2 * z * w, w * w])


def truth():
    a = TAU * 500
    return 0.9 * control.tf([0.8e-3, 1], [1]) * pair(93, 0.12) * pair(327, 0.08) * control.tf([a], [1, a])


def shape(p, s):
    """Two pairs and a lag under a straight line, times a delay; p: ln f, ln z, ln f, ln z, ln f, delay in ms, c0, c1."""
    f1, z1, f2, z2, f3 = np.exp(p[:5])
    h = (p[6] + p[7] * s / (TAU * 100)) * np.exp(-s * p[5] * 1e-3) / (1 + s / (TAU * f3))
    for f, z in ((f1, z1), (f2, z2)):
        r = s / (TAU * f)
        h = h / (1 + 2 * z * r + r * r)
    return h


def main():
    """Prints the JSON."""
    g = truth()
    f = np.geomspace(1, 420, 160)
    s = 1j * TAU * f
    at = lambda f: complex(g(1j * TAU * f))
    clean = np.array([at(x) for x in f]) * np.exp(-s * DELAY)
    rng = np.random.default_rng(11)
    u = 0.005 * np.abs(clean)
    noise = lambda: (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) * u
    repeats = [clean + noise() for _ in range(3)]
    mean, um = np.mean(repeats, axis=0), u / np.sqrt(3)

    p0 = np.r_[np.log([93, 0.12, 327, 0.08, 500]), DELAY * 1e3, 0.9, 0.9 * 0.8e-3 * TAU * 100]
    assert np.allclose(shape(p0, s), clean, rtol=1e-12)

    def miss(p):
        e = (shape(p, s) - mean) / um
        return np.r_[e.real, e.imag]

    fit = least_squares(miss, p0, x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15, jac="3-point")
    sd = np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac)))
    mag = lambda x: abs(at(x)) / abs(at(0))
    phase = lambda x: np.unwrap(np.angle([at(y) for y in np.linspace(1e-3, x, 4000)]))[-1]
    out = {
        "f_hz": f.tolist(), "u": um.tolist(), "repeats": [[r.real.tolist(), r.imag.tolist()] for r in repeats],
        "parameters": fit.x.tolist(), "sd": sd.tolist(), "rss": float(2 * fit.cost),
        "truth": {
            "minus_3_db_hz": brentq(lambda x: mag(x) - 10 ** -0.15, 100, 290),
            "flat_band_hz": brentq(lambda x: mag(x) - 10 ** 0.15, 20, 80),
            "minus_90_hz": brentq(lambda x: phase(x) + np.pi / 2, 50, 150),
            "minus_90_with_delay_hz": brentq(lambda x: phase(x) - TAU * x * DELAY + np.pi / 2, 10, 150),
        },
    }
    print(json.dumps(out))


if __name__ == "__main__":
    main()
