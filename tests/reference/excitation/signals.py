"""What excitations deliver, from numpy and scipy.  numpy 2.4, scipy 1.17.

- Crest factor of N flat neighbouring lines with the phases -pi k (k - 1)/N (Schroeder 1970), over 8192 points.
- The same for a log chirp, a half-sine and a maximum-length sequence of scipy, as values held for 250 us each.
- Root mean square of each in octaves from a power of two up: half-sine from the closed form of its spectrum,
  |X(f)| = 2 A w/pi |cos(pi f w)|/|1 - (2 f w)^2|, integrated; sequence and chirp by numpy's transform, times sin x/x of
  the held value.

Run: python tests/reference/excitation/signals.py; the numbers stand in bench/core/tests/plans/excitation_spectra.rs.
"""
import numpy as np
import scipy.integrate
import scipy.signal

STRIDE = 250e-6


def crest(x):
    """Peak over root mean square."""
    return np.abs(x).max() / np.sqrt(np.mean(x**2))


def octaves(x, length, periodic):
    """Root mean square in octaves of a staircase, over its own length; a single one zero-padded to `length`."""
    f = np.fft.rfftfreq(length, STRIDE)
    power = np.abs(np.fft.rfft(x, length)) ** 2 * np.sinc(f * STRIDE) ** 2 / length / x.size
    power[1:] *= 2
    if length % 2 == 0:
        power[-1] /= 2
    if periodic:
        power[0] = 0
    if periodic:
        n = np.floor(np.log2(np.maximum(f, f[1])) + 1e-9).astype(int)
        return {int(o): float(np.sqrt(power[n == o].sum())) for o in np.unique(n)}
    # The spectrum of a single signal is smooth: what is taken at an edge stands for both of its sides.
    bands = {}
    for o in range(int(np.log2(f[-1])) + 1):
        low, high = 2.0**o, 2.0 ** (o + 1)
        inside = power[(f > low) & (f < high)].sum() if o else power[f < high].sum()
        edges = power[f == high].sum() + (power[f == low].sum() if o else 0)
        bands[o] = float(np.sqrt(inside + edges / 2))
    return bands


def show(name, x, bands):
    """Prints one signal."""
    whole = np.sqrt(sum(b**2 for b in bands.values()))
    print(name, "crest", repr(float(crest(x))), {2.0**o: round(b, 9) for o, b in bands.items() if b > 1e-3 * whole})


def main():
    """Prints everything."""
    for count in (15, 31, 100, 300):
        k = np.arange(1, count + 1)
        n = np.arange(8192)
        x = np.cos(2 * np.pi * np.outer(n, k) / 8192 - np.pi * k * (k - 1) / count).sum(axis=1)
        print("schroeder", count, repr(float(crest(x))))

    # Log chirp, 1 to 200 Hz in 2 s, 1 N.m, tapered over 100 ms as half a cosine; as the phase's sine.
    t = np.arange(8000) * STRIDE
    x = scipy.signal.chirp(t, 1, 2, 200, "logarithmic", phi=-90)
    edge = np.minimum(t, 2 - t)
    x = x * np.where(edge < 0.1, (1 - np.cos(np.pi * edge / 0.1)) / 2, 1)
    show("chirp", x, octaves(x, 16000, False))

    # Maximum-length sequence of order 7, clock 2 ms, 0.5 N.m: every such sequence has the same power at each line.
    bits = scipy.signal.max_len_seq(7)[0]
    x = np.repeat(0.5 * (2.0 * bits - 1), 8)
    show("sequence", x, octaves(x, x.size, True))

    # Half-sine of 20 ms and 1 N.m: energy in octaves by integrating the closed form, over the width.
    width = 0.02
    energy = lambda f: (2 * width / np.pi * np.cos(np.pi * f * width) / (1 - (2 * f * width) ** 2)) ** 2
    bands = {}
    for o in range(0, 11):
        low, high = (0 if o == 0 else 2.0**o), min(2.0 ** (o + 1), 2000)
        edges = np.unique(np.concatenate([np.linspace(low, high, 200), [1 / (2 * width)] if low < 25 < high else []]))
        total = sum(scipy.integrate.quad(energy, a, b)[0] for a, b in zip(edges, edges[1:]))
        bands[o] = float(np.sqrt(2 * total / width))
    x = np.sin(np.pi * np.arange(80) / 80)
    show("half-sine", x, bands)


if __name__ == "__main__":
    main()
