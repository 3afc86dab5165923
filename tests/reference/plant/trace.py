"""What a perfect measurement of a clamped unit finds of a steering trace: the contrast at the grip limit, and how late it is.

Independent of the Rust plant, spline and estimators: scipy's natural cubic spline, RK4 on the equations of model.py at four
phases of the firmware's polling side by side, then the definitions below on the torque through the sensor, free of noise. The
trace is played twice and the second time looked at, since friction keeps what the first one left.

  contrast     crest and floor of the command smoothed by a zero-phase low-pass (Butterworth, 4th order, 4 Hz, to and fro):
               its greatest value, and where its fall behind has come to a twentieth of its steepest; means of torque (shifted)
               and command over a tenth of the time between, either side of both; drop of torque over drop of command
  late_s       crossing of the middle between both means by the smoothed torque, less that by the smoothed command

Run: python tests/reference/plant/trace.py RIG TRACE.csv SHARE_OF_PEAK OUT.json
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfiltfilt

import model
import unit

H, PHASES, STRIDE, KEEP = 25e-6, 4, 10, 20  # step, poll phases, steps a setpoint, steps a kept sample (2 kHz)
REST_S, LOOK_S = 0.5, 4.0  # between both plays; how much of the second one is looked at


def simulate(u, values, tail_s=0.2):
    """Torque through the sensor at 2 kHz for each phase."""
    per = lambda s: int(round(s / H))
    poll, dead = per(u.poll_s), per(u.dead_s)
    first = (np.arange(PHASES) * poll // PHASES).astype(int)
    steps = len(values) * STRIDE + per(tail_s)
    y = np.zeros((model.states(u), PHASES))
    target, s, lines = np.zeros(PHASES), np.zeros(PHASES), [[] for _ in range(PHASES)]
    kept, most = [], u.slew * H
    for i in range(steps):
        for p in range(PHASES):
            if i >= first[p] and (i - first[p]) % poll == 0:
                lines[p].append((i + dead, values[min(i // STRIDE, len(values) - 1)]))
            if lines[p] and lines[p][0][0] == i:
                target[p] = np.clip(u.gain * lines[p].pop(0)[1] + u.offset, -u.peak, u.peak)
        s_end = s + np.clip(target - s, -most, most)
        s_mid = 0.5 * (s + s_end)
        if i % KEEP == 0:
            kept.append(model.rim_torque(u, y).copy())
        k1 = model.rhs(u, s, y)
        k2 = model.rhs(u, s_mid, y + H / 2 * k1)
        k3 = model.rhs(u, s_mid, y + H / 2 * k2)
        k4 = model.rhs(u, s_end, y + H * k3)
        y, s = y + H / 6 * (k1 + 2 * k2 + 2 * k3 + k4), s_end
    return np.array(kept).T


def shifted(y, lag, n, fs):
    """`n` values of `y` from `lag` s on."""
    t = np.arange(n) / fs + lag
    return np.interp(t, np.arange(len(y)) / fs, y)


def measures(c, ys, fs):
    """The figures named above from the command and torques."""
    n, edge = len(c), int(0.1 * fs)
    core = slice(edge, n - edge)
    def misfit(y, lag):
        d = shifted(y, lag, n, fs)[core]
        a = np.stack([c[core], np.ones(n - 2 * edge)], 1)
        return np.sum((d - a @ np.linalg.lstsq(a, d, rcond=None)[0]) ** 2)
    def delay(y):
        # On the samples' grid, as a parabola through the least three.
        f = [misfit(y, k / fs) for k in range(int(0.06 * fs))]
        k = int(np.argmin(f))
        l, m, r = f[k - 1], f[k], f[k + 1]
        return (k + 0.5 * (l - r) / (l - 2 * m + r)) / fs
    delays = np.array([delay(y) for y in ys])
    lag = delays.mean()
    sos = butter(4, 4.0, fs=fs, output="sos")
    smooth = lambda x: sosfiltfilt(sos, x)
    sc = smooth(c)
    sign = np.sign(sc[np.argmax(np.abs(sc))])
    sc = sign * sc
    crest = int(np.argmax(sc))
    fall = -np.diff(sc[crest:]) * fs
    steepest, floor = 0.0, None
    for i, f in enumerate(fall):
        steepest = max(steepest, f)
        if f < 0.05 * steepest and i > 0.05 * fs:
            floor = crest + i
            break
    half = max(int(0.1 * (floor - crest)), int(0.025 * fs))
    mean = lambda x, i: sign * x[i - half:i + half + 1].mean()
    drop = mean(c, crest) - mean(c, floor)
    contrast, late = [], []
    def crosses(x, level):
        i = crest + int(np.argmax(x[crest:] < level))
        return (i - 1 + (x[i - 1] - level) / (x[i - 1] - x[i])) / fs
    for y in ys:
        a = shifted(y, lag, n, fs)
        high, low = mean(a, crest), mean(a, floor)
        contrast.append((high - low) / drop)
        late.append(crosses(sign * smooth(y[:n]), 0.5 * (high + low))
                    - crosses(sc, 0.5 * (mean(c, crest) + mean(c, floor))))
    return {
        "drop_nm": float(drop),
        "contrast": float(np.mean(contrast)), "late_s": float(np.mean(late)),
        "contrast_over_phases": float(np.std(contrast)), "crest_s": crest / fs, "floor_s": floor / fs,
    }


def main():
    """Command line."""
    rig, trace, share, out = sys.argv[1:5]
    u = unit.load(rig)
    rows = [line for line in pathlib.Path(trace).read_text().splitlines() if not line.startswith("#")]
    table = np.array([[float(v) for v in row.split(",")] for row in rows[1:]])
    t, torque = table[:, 0], table[:, rows[0].split(",").index("rim_torque")]
    values = CubicSpline(t, torque, bc_type="natural")(np.arange(0, t[-1] + 1e-9, STRIDE * H))
    values *= float(share) * u.peak / np.abs(values).max()
    fs = 1 / (KEEP * H)
    look, rest = int(LOOK_S / (STRIDE * H)), np.zeros(int(REST_S / (STRIDE * H)))
    ys = simulate(u, np.concatenate([values, rest, values[:look]]))[:, (len(values) + len(rest)) * STRIDE // KEEP:]
    c = np.repeat(values[:look], STRIDE)[::KEEP]
    found = measures(c, ys, fs)
    print(json.dumps(found, indent=1))
    document = {"about": "see trace.py beside this file", "rig": u.file, "trace": pathlib.Path(trace).name,
                "share_of_peak": float(share), "step_s": H, "numpy": np.__version__, "scipy": scipy.__version__, **found}
    pathlib.Path(out).write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
