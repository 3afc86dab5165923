"""Time and memory of fitting the drivetrain, beside scipy doing the same work on the same recordings, in one run.

As driver_times.py, for:

  drivetrain  twist against torque of slow loops: slope, gap and friction by lstsq loop by loop, stiffness by ranges, lost motion and
              width by interpolation of the branches
  rolling     legs to and fro, mean torque of both directions by bins of the angle, the friction curve by least_squares from several
              starts, orders by lstsq on the named ones both ways, order spectrum by rfft, the position sensor's orders by lstsq,
              friction by harmonics of the turn
  free        zero-phase low-pass of angle and torque, inertia and friction by lstsq on every push, coasting by least_squares
  around      twist of turns under load in bins of the angle, four unknowns a bin by lstsq, harmonics of the turn

Run: PYTHON tests/reference/analysis/drivetrain_times.py TRUERIM [belt|direct|geared]   (numpy, scipy, h5py; from the project's root)
"""
import sys
import tomllib

import driver_times

MOUNTINGS = {"drivetrain": "clamped", "rolling": "back-driven", "free": "free", "around": "back-driven"}


def read(f):
    """Time, torque, rim angle, rotor angle over the ratio (rad), setpoint, and the segments."""
    import numpy as np
    channel = lambda name: f[name][...] * f[name].attrs["scale_factor"] + f[name].attrs["add_offset"]
    ratio = tomllib.loads(rig_text(f))["rig"]["wheelbase"]["ratio"]
    angle = lambda name: channel(name) * (np.pi / 180 if f[name].attrs["units"] == "degree" else 1.0)
    s = {k: f["segments"][k][...] for k in f["segments"]}
    return f["time"][...] * 1e-6, channel("torque"), angle("rim_angle"), angle("motor_angle") / ratio, channel("setpoint"), s


def rig_text(f):
    """The rig file in a recording."""
    for text in f["files/text"][...]:
        text = text.decode() if isinstance(text, bytes) else str(text)
        if "[rig.wheelbase]" in text:
            return text
    raise SystemExit("no rig file in the recording")


def drivetrain(f):
    """Stiffness by all loops."""
    import numpy as np
    t, torque, rim, rotor, setpoint, s = read(f)
    slopes = []
    for i in np.flatnonzero(s["excitation"] == b"reversal"):
        if s["role"][i] not in (b"excitation", b"transient"):
            continue
        a, b = np.searchsorted(t, [s["start_tick"][i] * 1e-6, s["end_tick"][i] * 1e-6])
        y, x = torque[a:b], (rotor - rim)[a:b]
        if y.size < 100:
            continue
        rising = np.sign(np.gradient(np.convolve(setpoint[a:b], np.ones(101) / 101, "same")))
        for side in (1, -1):
            flank = (side * y > 0.2 * np.abs(y).max())
            m = np.stack([np.ones(flank.sum()), y[flank], rising[flank]], 1)
            c = np.linalg.lstsq(m, x[flank], rcond=None)[0]
            slopes.append(1 / c[1])
        for low, high in ((0.05, 0.25), (0.25, 0.5), (0.5, 1.0)):
            own = (np.abs(y) >= low * np.abs(y).max()) & (np.abs(y) < high * np.abs(y).max())
            np.linalg.lstsq(np.stack([np.ones(own.sum()), y[own], np.sign(y[own]), rising[own]], 1), x[own], rcond=None)
        for way in (1, -1):
            on = np.flatnonzero(rising == way)
            order = on[np.argsort(y[on])]
            np.interp([-0.21, 0.0, 0.21], y[order], x[order])
    return {"range_stiffness": float(np.mean(slopes))}


def legs(t, rim):
    """Steady legs: slices with speed."""
    import numpy as np
    fs = 1 / np.median(np.diff(t))
    half = int(0.05 * fs)
    v = np.zeros_like(rim)
    v[half:-half] = (rim[2 * half:] - rim[:-2 * half]) * fs / (2 * half)
    sign = np.where(np.abs(v) < 0.008, 0, np.sign(v))
    edges = np.flatnonzero(np.diff(sign)) + 1
    found = []
    for a, b in zip(np.r_[0, edges], np.r_[edges, rim.size]):
        if sign[a] == 0 or b - a < fs:
            continue
        typical = np.median(v[a:b])
        steady = np.flatnonzero(np.abs(v[a:b] - typical) < 0.05 * abs(typical))
        if steady.size and abs(rim[a + steady[-1]] - rim[a + steady[0]]) > 0.2:
            found.append((a + steady[0] + int(0.3 * fs), a + steady[-1] - int(0.3 * fs), typical))
    return found


def rolling(f):
    """Friction curve and orders."""
    import numpy as np
    from scipy.optimize import least_squares
    t, torque, rim, rotor, _, s = read(f)
    i = int(np.argmax(np.where(s["excitation"] == b"hold", s["duration_s"], 0)))
    a, b = np.searchsorted(t, [s["start_tick"][i] * 1e-6, s["end_tick"][i] * 1e-6])
    t, torque, rim, rotor = t[a:b], -torque[a:b], rim[a:b], rotor[a:b]
    pairs, all_legs = [], legs(t, rim)
    for n, (a, b, v) in enumerate(all_legs):
        for c, d, w in all_legs[n + 1:]:
            if abs(v + w) < 0.05 * abs(v):
                pairs.append(((a, b), (c, d), abs(v)))
                break
    speeds, drags = [], []
    for (a, b), (c, d), v in pairs:
        low, high = max(rim[a:b].min(), rim[c:d].min()), min(rim[a:b].max(), rim[c:d].max())
        edges = np.linspace(low, high, 181)
        mean = lambda p, q: np.histogram(rim[p:q], edges, weights=torque[p:q])[0] / np.maximum(np.histogram(rim[p:q], edges)[0], 1)
        up, down = mean(a, b), mean(c, d)
        sign = np.sign(rim[b - 1] - rim[a])
        curve = 0.5 * sign * (up - down)
        speeds.append(v)
        drags.append(curve.mean())
        x = 0.5 * (edges[1:] + edges[:-1])
        np.linalg.lstsq(np.stack([np.ones(180), np.cos(x), np.sin(x), np.cos(2 * x), np.sin(2 * x)], 1), curve, rcond=None)
    v, y = np.array(speeds), np.array(drags)
    miss = lambda p: p[0] + (p[1] - p[0]) * np.exp(-(v / p[2]) ** 2) + p[3] * v - y
    found = min((least_squares(miss, [y.min(), y.max(), vs, 0.01], bounds=([0, 0, 1e-3, 0], [10, 10, 5, 1]))
                 for vs in (0.02, 0.05, 0.1, 0.2, 0.5)), key=lambda r: r.cost)
    (a, b), (c, d), _ = max(pairs, key=lambda p: abs(rim[p[0][1] - 1] - rim[p[0][0]]))
    for p, q in ((a, b), (c, d)):
        orders = [0.8, 1, 9, 18, 90, 108, 144, 180, 216, 540, 1080]
        basis = np.concatenate([[np.ones(q - p)]] + [[np.cos(n * rim[p:q]), np.sin(n * rim[p:q])] for n in orders]).T
        np.linalg.lstsq(basis, torque[p:q], rcond=None)
        np.linalg.lstsq(basis[:, :9], (rotor - rim)[p:q], rcond=None)
        order = np.argsort(rim[p:q])
        grid = np.arange(rim[p:q].min(), rim[p:q].max(), 2 * np.pi / 4096)
        np.abs(np.fft.rfft(np.interp(grid, rim[p:q][order], torque[p:q][order]) * np.hanning(grid.size)))
    return {"sweep_coulomb": float(found.x[0])}


def free(f):
    """Inertia and friction of the pushes."""
    import numpy as np
    from scipy.optimize import least_squares
    from scipy.signal import butter, sosfiltfilt
    t, torque, rim, _, setpoint, s = read(f)
    fs = 1 / np.median(np.diff(t))
    sos = butter(4, 50.0, fs=fs, output="sos")
    angle, load = sosfiltfilt(sos, rim), sosfiltfilt(sos, setpoint)
    speed = np.gradient(angle, 1 / fs)
    accel = np.gradient(speed, 1 / fs)
    found = []
    for i in np.flatnonzero(s["excitation"] == b"step"):
        a, b = np.searchsorted(t, [s["start_tick"][i] * 1e-6, s["end_tick"][i] * 1e-6 + 0.8])
        own = slice(a, b)
        on = np.abs(speed[own]) > 0.2
        if on.sum() < 100:
            continue
        m = np.stack([accel[own][on], np.sign(speed[own][on]), speed[own][on], np.ones(on.sum()),
                      np.cos(9 * angle[own][on]), np.sin(9 * angle[own][on])], 1)
        found.append(np.linalg.lstsq(m, load[own][on], rcond=None)[0])
        v = speed[own][on][::20]
        k = np.arange(v.size) * 20 / fs
        least_squares(lambda p: v[0] * np.exp(-k / p[0]) - p[1] * k - v, [1.0, 0.1])
    return {"turning_inertia": float(np.mean([c[0] for c in found]))}


def around(f):
    """Stiffness by turns under load."""
    import numpy as np
    t, torque, rim, rotor, _, s = read(f)
    turns = []
    for i in np.flatnonzero((s["excitation"] == b"hold") & (np.abs(s["to_nm"]) > 0)):
        a, b = np.searchsorted(t, [s["start_tick"][i] * 1e-6, s["end_tick"][i] * 1e-6])
        own = legs(t[a:b], rim[a:b])
        turns += [(s["to_nm"][i], v, a + p, a + q) for p, q, v in own if abs(rim[a + q] - rim[a + p]) > 0.82 * 2 * np.pi]
    edges = np.linspace(0, 2 * np.pi, 181)
    binned = lambda p, q, y: (np.histogram(rotor[p:q] % (2 * np.pi), edges, weights=y[p:q])[0]
                              / np.maximum(np.histogram(rotor[p:q] % (2 * np.pi), edges)[0], 1))
    stiff = []
    for speed in sorted({round(abs(v), 1) for _, v, _, _ in turns}):
        own = [r for r in turns if round(abs(r[1]), 1) == speed]
        x = np.array([binned(p, q, torque) for _, _, p, q in own])
        y = np.array([binned(p, q, rotor - rim) for _, _, p, q in own])
        if len({(load, v > 0) for load, v, _, _ in own}) < 8:
            continue
        c = [np.linalg.lstsq(np.stack([np.ones(len(own)), x[:, k], [0.5 * np.sign(r[0]) for r in own],
                                       [np.sign(r[1]) for r in own]], 1), y[:, k], rcond=None)[0] for k in range(180)]
        c = np.array(c)
        at = 0.5 * (edges[1:] + edges[:-1])
        np.linalg.lstsq(np.stack([np.ones(180), np.cos(at), np.sin(at), np.cos(2 * at), np.sin(2 * at)], 1), c[:, 1:3], rcond=None)
        stiff.append(1 / np.median(c[:, 1]))
    return {"turned_stiffness": float(np.mean(stiff))}


if __name__ == "__main__":
    driver_times.main(__file__, globals(), MOUNTINGS)
