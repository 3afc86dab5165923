"""Time of scipy on the arrays of analysis/benches/spectra.rs: the same lengths, segments, realisations and lines.

Cross-spectra: scipy.signal.welch of both records and csd, 8,192 samples a segment, half overlap, Hann, 4,000 samples/s.
Best linear approximation: numpy's rfft of 7 x 4 periods of 4 s, means and variances. Rational fit: scipy.optimize.
least_squares on 400 lines from the true parameters plus 5 %, 5 poles and 1 zero with delay, one fit (no choice of order,
no cross-validation, no search for a start). Best of five runs; set OMP_NUM_THREADS=1 for one thread.

Run: OMP_NUM_THREADS=1 /opt/pyref/bin/python tests/reference/analysis/timing.py
"""
import time

import numpy as np
from scipy import optimize, signal

FS = 4000


def best(f, runs=5):
    """Shortest time of a few runs, s."""
    times = []
    for _ in range(runs):
        t = time.perf_counter()
        f()
        times.append(time.perf_counter() - t)
    return min(times)


def spectra(x, y):
    """Both auto-spectra and the cross-spectrum."""
    kw = dict(fs=FS, window="hann", nperseg=8192, noverlap=4096, detrend="constant")
    return signal.welch(x, **kw), signal.welch(y, **kw), signal.csd(x, y, **kw)


def bla(us, ys):
    """Means over periods and realisations, noise and total variance."""
    lines = np.arange(1, 1200, 2)
    h, noise = [], []
    for u, y in zip(us, ys):
        su = np.fft.rfft(u)[lines]
        sy = np.fft.rfft(y.reshape(4, -1)[1:], axis=1)[:, lines]
        h.append(sy.mean(axis=0) / su)
        noise.append(sy.var(axis=0, ddof=1) / 3 / np.abs(su) ** 2)
    h = np.array(h)
    return h.mean(axis=0), h.var(axis=0, ddof=1) / 7, np.mean(noise, axis=0) / 7


def shape(p, s):
    """Two pairs and a lag under a zero, times a delay in ms."""
    f1, z1, f2, z2, f3, f4 = np.exp(p[:6])
    h = p[6] * (1 + s / (2 * np.pi * f4)) * np.exp(-s * p[7] * 1e-3) / (1 + s / (2 * np.pi * f3))
    for f, z in ((f1, z1), (f2, z2)):
        r = s / (2 * np.pi * f)
        h = h / (1 + 2 * z * r + r * r)
    return h


def main():
    """Prints a line a figure."""
    rng = np.random.default_rng(1)
    x = rng.uniform(-0.5, 0.5, 3600 * FS)
    y = signal.lfilter([0.3], [1, -0.7], x)
    for seconds in (10, 60, 600, 3600):
        n = seconds * FS
        print(f"cross-spectra {seconds} s: {1e3 * best(lambda: spectra(x[:n], y[:n]), 3):.2f} ms")
    us = [rng.standard_normal(4 * FS) for _ in range(7)]
    ys = [np.tile(u, 4) + 0.01 * rng.standard_normal(16 * FS) for u in us]
    print(f"best linear approximation: {1e3 * best(lambda: bla(us, ys)):.2f} ms")
    f = np.geomspace(1, 420, 400)
    s = 2j * np.pi * f
    p = np.r_[np.log([93, 0.12, 327, 0.08, 500, 199]), 0.9, 3.9]
    h = shape(p, s)
    u = 0.0025 * np.abs(h)
    h = h + u * (rng.standard_normal(400) + 1j * rng.standard_normal(400))

    def miss(q):
        e = (shape(q, s) - h) / u
        return np.r_[e.real, e.imag]

    start = p * (1 + 0.05 * np.sign(p))
    fit = lambda: optimize.least_squares(miss, start, x_scale="jac")
    print(f"rational fit: {1e3 * best(fit):.2f} ms, {fit().nfev} evaluations")


if __name__ == "__main__":
    main()
