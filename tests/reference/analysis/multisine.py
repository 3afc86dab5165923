"""The robust method for the best linear approximation, written out in numpy, on small arrays.  numpy 2.4.6.

Three realisations of an odd random-phase multisine (period 128 samples at 1000 /s, odd lines 1 to 41 without 7, 15, 21, 31,
39), four periods each with noise, through y = 0.8 x(n-1) + 0.3 x(n-2) + 0.05 x^2 + 0.1 x^3, x periodic. The first
period is left out. Pintelon and Schoukens, System Identification, 2nd ed., 4.3: mean over periods and realisations,
variance of the mean from the scatter of periods (noise) and of realisations (total). No delays are aligned. The input is
taken as a staircase with age 0, so its lines are multiplied by sinc(f/fs) exp(-j pi f/fs).

Run: /opt/pyref/bin/python tests/reference/analysis/multisine.py > analysis/tests/data/multisine.json
"""
import json

import numpy as np

N, FS, M, P = 128, 1000.0, 3, 4


def main():
    """Prints the JSON."""
    rng = np.random.default_rng(21)
    lines = np.array([k for k in range(1, 42, 2) if k not in (7, 15, 21, 31, 39)])
    n = np.arange(N)
    inputs, outputs, h, noise = [], [], [], []
    for _ in range(M):
        x = np.round(sum(0.1 * np.cos(2 * np.pi * k * n / N + rng.uniform(0, 2 * np.pi)) for k in lines), 6)
        y = 0.8 * np.roll(x, 1) + 0.3 * np.roll(x, 2) + 0.05 * x**2 + 0.1 * x**3
        y = np.round(np.tile(y, P) + 0.01 * rng.standard_normal(N * P), 6)
        f = lines * FS / N
        u = np.fft.rfft(x)[lines] / N * np.sinc(f / FS) * np.exp(-1j * np.pi * f / FS)
        ys = np.fft.rfft(y.reshape(P, N)[1:], axis=1)[:, lines] / N
        h.append(ys.mean(axis=0) / u)
        noise.append(ys.var(axis=0, ddof=1) / (P - 1) / np.abs(u) ** 2)
        inputs.append(x.tolist())
        outputs.append(y.tolist())
    h, noise = np.array(h), np.array(noise)
    mean = h.mean(axis=0)
    total = np.sum(np.abs(h - mean) ** 2, axis=0) / (M - 1) / M / np.abs(mean) ** 2
    noise = noise.mean(axis=0) / M / np.abs(mean) ** 2
    smooth = lambda v: np.array([v[max(0, i - 5):i + 6].mean() for i in range(v.size)])
    total, noise = smooth(total), smooth(noise)
    sd = lambda v: (np.abs(mean) * np.sqrt(v / 2)).tolist()
    print(json.dumps({"fs": FS, "lines": lines.tolist(), "inputs": inputs, "outputs": outputs, "re": mean.real.tolist(),
                      "im": mean.imag.tolist(), "total_u": sd(np.maximum(total, noise)), "noise_u": sd(noise),
                      "distortion_sd": sd(np.maximum(M * (total - noise), 0))}))


if __name__ == "__main__":
    main()
