"""Time and memory of fitting what a driver gets, beside scipy doing the same work on the same recordings, in one run.

For each procedure: measures the virtual unit once, times `truerim fit` on the recording, and in a process of its own this file with
numpy and scipy (`--one`); both are processor time of whole processes from reading the file on, imports of Python taken out, and
peak memory. Some values are printed of both, so that one sees that the same work was done.

  static      means of settled levels, least squares of slope and intercepts, best line at its worst by linprog, all by cycles
  shock       crest, instants at half, width, what is left, of every pulse; trains: lag by correlation, crests and valleys
  limit       shift by least squares, gain, error; contrast behind a zero-phase Butterworth; gain and coherence by octave from
              rfft, distortion with a jackknife over the repeats
  resolution  means before and behind each small step, amplitudes by lstsq, spectrum of holds by welch
  heat        temperature of two bodies driven by the squared current: least_squares over both constants, shares by lstsq

Run: PYTHON tests/reference/analysis/driver_times.py TRUERIM [belt|direct|geared]   (numpy, scipy, h5py; from the project's root)
"""
import json
import pathlib
import resource
import subprocess
import sys
import tempfile

MOUNTINGS = {name: "clamped" for name in ("static", "shock", "limit", "resolution", "heat")}


def cuts(f, kind, before, behind):
    """Segment rows of an excitation with their samples: a dict a row."""
    import numpy as np
    tick = f["time"][...].astype(np.int64)
    channel = lambda name: f[name][...] * f[name].attrs["scale_factor"] + f[name].attrs["add_offset"]
    x, y = channel("setpoint"), channel("torque")
    s = {k: f["segments"][k][...] for k in f["segments"]}
    out = []
    for i in range(len(s["start_tick"])):
        if s["excitation"][i].decode() != kind or s["role"][i].decode() not in ("excitation", "transient"):
            continue
        a, b = np.searchsorted(tick, [s["start_tick"][i] - before * 1e6, s["end_tick"][i] + behind * 1e6])
        out.append({"t": (tick[a:b] - s["start_tick"][i]) * 1e-6, "x": x[a:b], "y": y[a:b],
                    **{k: s[k][i] for k in ("amplitude_nm", "preload_nm", "to_nm", "duration_s", "segment", "start_tick")}})
    return out


def static(f):
    """Gain and linearity of the staircase."""
    import numpy as np
    from scipy.optimize import linprog, minimize_scalar
    rows = cuts(f, "staircase", 0, 0)
    levels = np.array([r["preload_nm"] for r in rows])
    means = np.array([r["y"][int(0.6 * r["y"].size):].mean() for r in rows])
    cycles = np.split(np.arange(levels.size), np.flatnonzero(np.diff([r["start_tick"] for r in rows]) > 6e5) + 1)
    gains = []
    for own in cycles[1:] + [np.concatenate(cycles[1:])]:
        x, t = levels[own], means[own]
        share = np.abs(x) / np.abs(x).max()
        in_it = (share >= 0.1) & (share <= 0.7)
        a = np.stack([x, x > 0, x < 0], 1)[in_it].astype(float)
        gains.append(np.linalg.lstsq(a, t[in_it], rcond=None)[0][0])
        one = np.ones_like(x)
        linprog([0, 0, 1], A_ub=np.block([[-one[:, None], -x[:, None], -one[:, None]], [one[:, None], x[:, None], -one[:, None]]]),
                b_ub=np.concatenate([-t, t]), bounds=[(None, None)] * 3)
        minimize_scalar(lambda b: np.abs(t - b * x).max(), bounds=(0.5, 1.5), method="bounded")
    return {"static_gain": float(np.mean(gains[:-1]))}


def shock(f):
    """Share of the pulses of 8 ms."""
    import numpy as np
    shares = []
    for r in cuts(f, "half-sine", 0.015, 0.1):
        sign, a, w = np.sign(r["amplitude_nm"]), abs(r["amplitude_nm"]), r["duration_s"]
        y = sign * (r["y"] - r["y"][r["t"] < 0].mean())
        fs = 1 / np.median(np.diff(r["t"]))
        top = int(np.argmax(np.where(r["t"] < w + 0.06, y, -np.inf)))
        up = top - np.argmax(y[:top + 1][::-1] < 0.5 * y[top])
        down = top + np.argmax(y[top:] < 0.5 * y[top])
        np.abs(y[int(np.ceil((w + 0.015) * fs)):]).max()
        np.correlate(y, np.sin(np.pi * np.arange(0, w, 1 / fs) / w))
        if abs(w - 8e-3) < 1e-6 and sign > 0:
            shares.append(y[top] / a)
            assert down > up
            key = f"shock_retention@8 ms, {a:.6g} on {r['preload_nm']:.6g} N·m"
    return {key: float(np.mean(shares))}


def limit(f):
    """Delay, contrast and octaves of both traces."""
    import numpy as np
    from scipy.signal import butter, sosfiltfilt
    out = []
    rows = cuts(f, "trace", 0, 0.07)
    for segment in sorted({r["segment"] for r in rows}):
        own = [r for r in rows if r["segment"] == segment][1:]
        fs = 1 / np.median(np.diff(own[0]["t"]))
        n = int(round(own[0]["duration_s"] * fs))
        grid = np.arange(n + int(0.06 * fs) + 2) / fs
        c = np.interp(grid[:n], own[0]["t"], own[0]["x"])
        core = slice(int(0.1 * fs), n - int(0.1 * fs))
        a = np.stack([c[core], np.ones(c[core].size)], 1)
        q = np.linalg.qr(a)[0]
        delays, aligned = [], []
        for r in own:
            y = np.interp(grid, r["t"], r["y"])
            def left(k):
                d = y[core.start + k:core.stop + k]
                return d @ d - np.sum((q.T @ d) ** 2)
            m = [left(k) for k in range(int(0.06 * fs))]
            k = int(np.argmin(m))
            k += 0.5 * (m[k - 1] - m[k + 1]) / (m[k - 1] - 2 * m[k] + m[k + 1])
            delays.append(k / fs)
            aligned.append(np.interp(grid[:n] + k / fs, grid, y))
        sos = butter(4, 4.0, fs=fs, output="sos")
        [sosfiltfilt(sos, v) for v in [c, *aligned]]
        spectra = np.fft.rfft(np.diff(np.array([c, *aligned]), axis=1), axis=1)
        freq = np.fft.rfftfreq(n - 1, 1 / fs)
        kept = [list(range(1, len(aligned) + 1))] + [[j for j in range(1, len(aligned) + 1) if j != i]
                                                     for i in range(1, len(aligned) + 1)]
        for repeats in kept:
            low = 0.5
            while low < 0.4 * fs:
                own_lines = np.flatnonzero((freq >= low) & (freq < 2 * low))
                for lines in np.array_split(own_lines, max(min(own_lines.size // 4, 8), 1)):
                    u, y = spectra[0, lines], spectra[repeats][:, lines]
                    h = np.sum(u.conj() * y.mean(0)) / max(np.sum(np.abs(u) ** 2), 1e-300)
                    np.sum(np.abs(y.mean(0) - h * u) ** 2), np.sum(np.abs(y - y.mean(0)) ** 2)
                low *= 2
        out.append(np.mean(delays))
    return {"trace_delay": float(out[0]) - f["torque"].attrs["group_delay_s"] - 125e-6}


def resolution(f):
    """Share of a small step, gain of a small sine, spectrum of what is held."""
    import numpy as np
    from scipy.signal import welch
    moved = {}
    for r in cuts(f, "increment", 0.1, 0):
        half = r["t"] >= 0.5 * r["duration_s"]
        key = (round(r["preload_nm"], 6), round(r["amplitude_nm"], 6))
        moved.setdefault(key, []).append(r["y"][half].mean() - r["y"][r["t"] < 0].mean())
    gains = {}
    for r in cuts(f, "sine", 0, 0):
        own = (r["t"] >= 0.2) & (r["t"] < 1.2)
        t = r["t"][own]
        basis = np.stack([np.cos(10 * np.pi * t), np.sin(10 * np.pi * t), np.ones_like(t), t - t.mean()], 1)
        of = lambda v: complex(*(np.linalg.lstsq(basis, v, rcond=None)[0][:2] * [1, -1]))
        gains.setdefault(round(r["amplitude_nm"], 6), []).append(abs(of(r["y"][own]) / of(r["x"][own])))
    for r in cuts(f, "hold", 0, 0):
        welch(r["y"][int(0.4 * r["y"].size):], fs=2000, nperseg=1024)
    return {"sine_gain": float(np.mean(gains[min(gains)]))}


def heat(f):
    """Both time constants of the winding's temperature."""
    import numpy as np
    from scipy.optimize import least_squares
    channel = lambda name: f[name][...] * f[name].attrs["scale_factor"] + f[name].attrs["add_offset"]
    fs = 1e6 / float(np.median(np.diff(f["time"][:1000])))
    i, t = channel("current"), channel("temperature")
    step = max(int(round(fs * t.size / fs / 1500)), int(fs))
    n = t.size // step
    square, t = (v[:n * step].reshape(n, step).mean(1) for v in (i ** 2, t))
    h = step / fs

    def driven(tau):
        out, x, k = np.empty(n), 0.0, np.exp(-h / tau)
        for j in range(n):
            out[j] = square[j] + (x - square[j]) * tau / h * (1 - k)
            x = square[j] + (x - square[j]) * k
        return out

    def miss(p):
        a = np.stack([driven(np.exp(p[0])), driven(np.exp(p[1])), np.ones(n)], 1)
        return t - a @ np.linalg.lstsq(a, t, rcond=None)[0]

    grid = np.geomspace(5, 3000, 14)
    start = min(((a, b) for a in grid for b in grid if b > 1.5 * a), key=lambda ab: np.sum(miss(np.log(ab)) ** 2))
    found = np.exp(least_squares(miss, np.log(start)).x)
    return {"heat_fast": float(min(found)), "heat_slow": float(max(found))}


def one(work, procedure, path):
    """Does the work of one procedure and tells its time, its memory and some values."""
    import h5py
    import numpy  # noqa: F401
    import scipy.optimize  # noqa: F401
    import scipy.signal  # noqa: F401
    spent = lambda: sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    start = spent()
    with h5py.File(path) as f:
        values = work[procedure](f)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"s": spent() - start, "mb": memory, "values": values}))


def main(file, work, mountings):
    """Prints a table, a row a procedure: of the functions of `work`, in the module of `file`, on recordings in their mountings."""
    if sys.argv[1] == "--one":
        return one(work, *sys.argv[2:])
    truerim, unit = sys.argv[1], (sys.argv[2:] or ["belt"])[0]
    print(f"{'procedure':<11} {'here, s':>8} {'MB':>5} {'scipy, s':>9} {'MB':>5}  values here and there")
    with tempfile.TemporaryDirectory() as folder:
        for name, mounting in mountings.items():
            out = pathlib.Path(folder) / name
            subprocess.run([truerim, "measure", "--rig", f"rigs/{unit}.toml", "--procedure", f"procedures/{name}.toml", "--yes",
                            "--mounting", mounting, "--out", out], check=True, capture_output=True)
            path = str(out / "recording.h5")
            timed = subprocess.run(["/usr/bin/time", "-f", "%M %U %S", truerim, "fit", "--quiet", path],
                                   capture_output=True, text=True)
            if timed.returncode:
                raise SystemExit(timed.stderr)
            kilobytes, user, system = map(float, timed.stderr.strip().splitlines()[-1].split())
            there = json.loads(subprocess.run([sys.executable, file, "--one", name, path], check=True, capture_output=True,
                                              text=True).stdout)
            fit = json.loads((out / "fit.json").read_text(encoding="utf-8"))
            said = []
            for key, value in there["values"].items():
                own = next(m for m in fit["measurands"] if m["id"].split("@")[0] == key.split("@")[0] and m["id"].startswith(key))
                said.append(f"{key.split('@')[0]} {own['result'].get('value', float('nan')):.5g} {value:.5g}")
            print(f"{name:<11} {user + system:>8.2f} {kilobytes / 1024:>5.0f} {there['s']:>9.2f} {there['mb']:>5.0f}  {'; '.join(said)}")


if __name__ == "__main__":
    main(__file__, globals(), MOUNTINGS)
