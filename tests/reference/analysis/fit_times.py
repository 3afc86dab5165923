"""Time of each fit beside scipy's on the same arrays, in one run, one thread each.

Reads a recording (h5py), times with numpy and scipy what `fit-times` times, runs that program on the same recording, and prints
both side by side; with several recordings (the quick procedure with its repeats multiplied, say) it also prints how time and
peak memory of the whole fit grow.

What scipy does for each line:
  spectra and coherence        welch of both records and csd, 8,192 samples a segment, half overlap, Hann
  chirp response               the same: rfft of each whole chirp, in each band of 1/48 octave a quadratic times the input with a
                               straight line for the transient by linalg.lstsq, of each chirp alone and of all aligned
  … by a plain mean            rfft, H1 over the same bands by a plain mean of lines: less than what it stands beside
  rational fit, 4 poles        the same number of fits: optimize.least_squares of delay, gain, two pairs, one zero pair for four
                               numerators and their four folds each, from a start near the answer (no search for one)
  … one fit                    one of them
  rational fit, order chosen   the same search by optimize.least_squares (its own derivatives by differences, at most 80 evaluations of
                               them): 1 to 6 poles, 1 to 4 zeros fewer, each from two starts, those at rest without each of five parts
                               of the lines too; starts are made of the answer's roots and further real ones, so what the search for
                               them costs is left out
  step measures, all steps     levels by histogram modes, passages, extremes and settling, vectorised per step
  … latency                    one shape for all steps (slew, then two poles), a delay for each step and a gain for each size by
                               optimize.least_squares with the sparse Jacobian told, from starts read off the records
  … latency, as often as here  that fit five times: twice from the guess (here with a hub and without), from what was found, from the
                               guess again without what did not fit, and over four fifths of the window
  … whole, one pass each       spectra, chirp response, rational fits of four poles, step measures, latency once: less than
                               `truerim fit` does
  whole recording              the same with the search for the order, and latency as often as here: still less than `truerim fit`
                               does (no spread of delays, no twist, no other budgets, no reading of the file)

Run: OMP_NUM_THREADS=1 PYTHON tests/reference/analysis/fit_times.py FIT_TIMES TRUERIM RECORDING...
     (FIT_TIMES, TRUERIM: paths of the built programs; PYTHON with numpy, scipy, h5py)
"""
import json
import subprocess
import sys

import h5py
import numpy as np
from scipy import optimize, signal

import timing


def best(f, runs=5):
    """Shortest time of a few runs, ms."""
    return 1e3 * timing.best(f, runs)


def scaled(dataset):
    """A channel in its unit."""
    return dataset[...] * dataset.attrs["scale_factor"] + dataset.attrs["add_offset"]


def text(dataset):
    """Strings of a dataset."""
    return [v.decode() if isinstance(v, bytes) else str(v) for v in dataset[...]]


def load(path):
    """Sample rate, and lists of (t, setpoint, torque) of steps and chirps."""
    with h5py.File(path) as f:
        tick = f["time"][...].astype(np.int64)
        x, y = scaled(f["setpoint"]), scaled(f["torque"])
        s = f["segments"]
        rows = zip(text(s["excitation"]), text(s["role"]), s["start_tick"][...], s["end_tick"][...])
        out = {"step": [], "chirp": []}
        for kind, role, start, end in rows:
            if kind not in out or role not in ("excitation", "excite"):
                continue
            before = 30_000 if kind == "step" else 0
            a, b = np.searchsorted(tick, [start - before, end])
            out[kind].append(((tick[a:b] - start) * 1e-6, x[a:b], y[a:b]))
        return 1e6 / float(np.median(np.diff(tick[:1000]))), out["step"], out["chirp"]


def welch(x, y, fs):
    """Auto-spectra, cross-spectrum, coherence."""
    kw = dict(fs=fs, window="hann", nperseg=8192, noverlap=4096, detrend="constant")
    f, sxx = signal.welch(x, **kw)
    syy, sxy = signal.welch(y, **kw)[1], signal.csd(x, y, **kw)[1]
    return np.abs(sxy) ** 2 / (sxx * syy + 1e-300)


def response(chirps, fs):
    """H1 and its coherence over bands."""
    edges = np.geomspace(0.5, 270, 48 * 9 + 2)
    sxx, syy, sxy = (np.zeros(edges.size - 1, t) for t in (float, float, complex))
    for _, x, y in chirps:
        u, v = np.fft.rfft(x - x.mean()), np.fft.rfft(y - y.mean())
        k = np.digitize(np.fft.rfftfreq(x.size, 1 / fs), edges) - 1
        ok = (k >= 0) & (k < edges.size - 1)
        for out, value in ((sxx, np.abs(u) ** 2), (syy, np.abs(v) ** 2)):
            out += np.bincount(k[ok], value[ok], edges.size - 1)
        p = v * u.conj()
        sxy += np.bincount(k[ok], p.real[ok], edges.size - 1) + 1j * np.bincount(k[ok], p.imag[ok], edges.size - 1)
    some = sxx > 0
    f = np.sqrt(edges[1:] * edges[:-1])[some]
    return f, (sxy / np.where(sxx > 0, sxx, 1))[some]


def band(parts, f, half, least=12):
    """Response at the centre of a band by complex least squares over the lines of several chirps."""
    rows, right = [], []
    for i, (step, u, y) in enumerate(parts):
        wide = max(half, 0.5 * least * step)
        a = max(int(np.ceil((f - wide) / step)), 1)
        b = max(int(np.floor((f + wide) / step)) + 1, a + least)
        b = min(b, u.size)
        x = (np.arange(a, b) * step - f)
        x = x / np.abs(x).max()
        own = np.zeros((x.size, 2 * len(parts)), complex)
        own[:, 2 * i], own[:, 2 * i + 1] = 1, x
        rows.append(np.c_[u[a:b], x * u[a:b], x * x * u[a:b], own])
        right.append(y[a:b])
    return np.linalg.lstsq(np.vstack(rows), np.concatenate(right), rcond=None)[0][0]


def local(chirps, fs):
    """Response by a local polynomial, chirps aligned before they are taken together."""
    centres = np.geomspace(0.5, 270, 437)
    half = 0.5 * (2 ** (0.5 / 48) - 2 ** (-0.5 / 48)) * centres
    parts = [(fs / x.size, np.fft.rfft(x - x.mean()), np.fft.rfft(y - y.mean())) for _, x, y in chirps]
    alone = np.array([[band([p], f, w) for f, w in zip(centres, half)] for p in parts])
    mean = alone.mean(0)
    late = [-np.sum(np.angle(h * mean.conj()) * centres) / np.sum(2 * np.pi * centres ** 2) for h in alone]
    aligned = [(s, u, y * np.exp(2j * np.pi * s * np.arange(y.size) * d)) for (s, u, y), d in zip(parts, late)]
    return centres, np.array([band(aligned, f, w) for f, w in zip(centres, half)])


def product(p, s, poles, zeros):
    """Delay, gain, and real or paired factors: pairs first."""
    def factors(p, count):
        out, at = 1.0, 0
        for _ in range(count // 2):
            r = s / (2 * np.pi * np.exp(p[at]))
            out, at = out * (1 + 2 * np.exp(p[at + 1]) * r + r * r), at + 2
        return out * (1 + s / (2 * np.pi * np.exp(p[at]))) if count % 2 else out
    return p[-2] * np.exp(-s * p[-1] * 1e-3) * factors(p[poles:], zeros) / factors(p, poles)


def rational(f, h):
    """One fit from a start near the answer."""
    s, u = 2j * np.pi * f, 0.003 * np.abs(h) + 1e-9

    def miss(p):
        e = (product(p, s, 4, 2) - h) / u
        return np.r_[e.real, e.imag]

    start = np.r_[np.log([94, 0.12, 170, 1.5, 88, 0.95]), 1.0, 4.9]
    return optimize.least_squares(miss, start, x_scale="jac")


def chosen(f, h):
    """Every number of poles and zeros, with what each predicts of a fifth of the lines that it has not seen."""
    s, u = 2j * np.pi * f, 0.003 * np.abs(h) + 1e-9

    def fit(rows, start, poles, zeros):
        def miss(p):
            e = (product(p, s[rows], poles, zeros) - h[rows]) / u[rows]
            return np.r_[e.real, e.imag]
        return optimize.least_squares(miss, start, x_scale="jac", max_nfev=80)

    near = np.log([94, 0.12, 170, 1.5, 250, 1.5])
    near_zeros = np.log([88, 0.95, 200, 1.2, 60])
    every, scores = np.arange(f.size), {}
    for poles in range(1, 7):
        for zeros in range(max(poles - 4, 0), poles):
            best = None
            for shift in (0.0, 0.3):
                start = np.r_[near[:poles] + shift, near_zeros[:zeros] + shift, 1.0, 4.9]
                found = fit(every, start, poles, zeros)
                if found.status > 0 and (best is None or found.cost < best.cost):
                    best = found
            if best is None:
                continue
            score = 0.0
            for part in range(5):
                inside = every % 5 == part
                p = fit(every[~inside], best.x, poles, zeros).x
                score += np.mean(np.abs((product(p, s[inside], poles, zeros) - h[inside]) / u[inside]) ** 2)
            scores[poles, zeros] = score
    return scores


def measure(t, y):
    """Levels, passages, overshoot, settling of one step."""
    sign = np.sign(y[-50:].mean() - y[t <= 0].mean())
    y = sign * y
    counts, edges = np.histogram(y, 256)
    mid = 128
    low = edges[np.argmax(counts[:mid])]
    high = edges[mid + np.argmax(counts[mid:])]
    a = high - low
    at = [np.interp(0, [y[i - 1] - low - q * a, y[i] - low - q * a], t[i - 1:i + 1])
          for q in (0.1, 0.5, 0.9) for i in [int(np.argmax(y >= low + q * a))]]
    outside = np.nonzero(np.abs(y - high) > 0.02 * a)[0]
    return at, y.max() / a, t[outside[-1]] if outside.size else at[-1]


def rise(t, delay, slew, f, z):
    """Unit step: a ramp of length `slew` through two poles, begun at `delay`."""
    def ramp(x):
        x = np.maximum(x, 0)
        w, d = 2 * np.pi * f, np.sqrt(1 - z * z)
        e = np.exp(-z * w * x)
        return x - 2 * z / w + e * (2 * z / w * np.cos(w * d * x) + (2 * z * z - 1) / (w * d) * np.sin(w * d * x))
    x = t - delay
    return (ramp(x) - ramp(x - slew)) / slew


def latency(steps, window=1.0, begin=None):
    """Delays of all steps by one least-squares fit; with what else it found."""
    parts, starts = [], []
    for t, x, y in steps:
        first = y[t <= 0].mean()
        change = np.round(x[-1] - x[t < 0][-1], 6)
        half = t[np.argmax(np.sign(change) * (y - first) > 0.5 * abs(change))]
        keep = (t > -2e-3) & (t < half + 3e-3 * window)
        parts.append((t[keep], y[keep] - first, change))
        starts.append(1e3 * half - 1.5)
    sizes = sorted({p[2] for p in parts})
    gain = [sizes.index(p[2]) for p in parts]
    rows = np.cumsum([0] + [p[0].size for p in parts])
    n, m = len(parts), len(sizes)
    touched = np.zeros((rows[-1], n + m + 3), np.int8)
    touched[:, n + m:] = 1
    for i in range(n):
        touched[rows[i]:rows[i + 1], [i, n + gain[i]]] = 1

    def miss(p):
        slew, f, z = 1e-3 * np.exp(p[-3]), np.exp(p[-2]), 0.99 / (1 + np.exp(-p[-1]))
        return np.concatenate([p[n + gain[i]] * c * rise(t, 1e-3 * p[i], slew, f, z) - y
                               for i, (t, y, c) in enumerate(parts)])

    start = np.r_[starts, np.ones(m), 0.0, np.log(100), -1.5] if begin is None else begin
    found = optimize.least_squares(miss, start, jac_sparsity=touched, x_scale="jac")
    return found.x[:n], found.x


def latency_as_here(steps):
    """That fit as often as it is made here."""
    for _ in range(2):
        latency(steps)
    found = latency(steps)[1]
    latency(steps, begin=found)
    latency(steps, 0.8, found)


def main():
    """Prints a table."""
    np.seterr(all="ignore")  # a search for the order goes through models that overflow
    ours, truerim, *paths = sys.argv[1:]
    fs, steps, chirps = load(paths[0])
    t, x, y = chirps[0]
    f, h = response(chirps, fs)
    theirs = {
        "spectra and coherence": best(lambda: welch(x, y, fs)),
        "chirp response": best(lambda: local(chirps, fs), 2),
        "… by a plain mean": best(lambda: response(chirps, fs)),
        "rational fit, 4 poles": best(lambda: [rational(f, h) for _ in range(4 * 5)], 2),
        "… one fit": best(lambda: rational(f, h), 3),
        "rational fit, order chosen": best(lambda: chosen(f, h), 1),
        "step measures, all steps": best(lambda: [measure(t, y) for t, _, y in steps]),
    }
    delays = latency(steps)[0]
    theirs["… latency"] = best(lambda: latency(steps), 2)
    theirs["… latency, as often as here"] = best(lambda: latency_as_here(steps), 1)
    both = sum(theirs[k] for k in ("spectra and coherence", "chirp response", "step measures, all steps"))
    theirs["… whole, one pass each"] = both + theirs["rational fit, 4 poles"] + theirs["… latency"]
    theirs["whole recording"] = both + theirs["rational fit, order chosen"] + theirs["… latency, as often as here"]
    lines = subprocess.run([ours, paths[0]], capture_output=True, text=True, check=True).stdout.splitlines()
    print(f"{'fit':<28} {'here, ms':>10} {'scipy, ms':>10}")
    for line in map(json.loads, lines):
        if "ms" in line:
            other = theirs.get(line["what"])
            print(f"{line['what']:<28} {line['ms']:>10.2f} {f'{other:.2f}' if other else '-':>10}")
    for what in theirs:
        if what.startswith("…"):
            print(f"{what:<28} {'':>10} {theirs[what]:>10.2f}")
    print(f"mean delay of {delays.size} steps by scipy: {delays.mean():.3f} ms")
    for path in paths:
        # time(1) starts the program from a small process: a child's greatest memory counts what it was started from.
        command = ["/usr/bin/time", "-f", "%M %U", truerim, "fit", path]
        said = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=True).stderr
        kilobytes, seconds = map(float, said.strip().splitlines()[-1].split())
        with h5py.File(path) as f:
            minutes = float(f["time"][-1] - f["time"][0]) * float(f["time"].attrs.get("tick_s", 1e-6)) / 60
        print(f"{path}, {minutes:.1f} min: {seconds:.2f} s of processor time, peak {kilobytes / 1024:.0f} MB")


if __name__ == "__main__":
    main()
