"""What a perfect measurement of a clamped unit finds of a steering trace: the contrast at the grip limit, and how late it is.

Independent of the Rust plant, spline and estimators: scipy's natural cubic spline, fast.py (RK4 on the equations of model.py) at
four phases of the firmware's polling, then the definitions below on the torque through the sensor, free of noise. The procedure is
played from end to end and each trace but the first looked at, since friction keeps what was before and magnets warm.

  delay_s      shift by which torque fits gain times command plus offset best, less half a setpoint's period: one that is held is on
               average that much late
  gain         slope of that fit
  error_nm     root mean square of shifted torque less command
  contrast     crest and floor of the command smoothed by a zero-phase low-pass (Butterworth, 4th order, 4 Hz, to and fro):
               its greatest value, and where its fall behind has come to a twentieth of its steepest; means of torque (shifted)
               and command over a tenth of the time between, either side of both; drop of torque over drop of command
  late_s       crossing of the middle between both means by the smoothed torque, less that by the smoothed command

Run: python tests/reference/plant/trace.py OUT_FOLDER [belt direct geared]   (numpy, scipy; numba makes it a minute)
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfiltfilt

import fast
import unit
from line import PERIOD, Line

PHASES, KEEP = 4, 10  # poll phases; steps a kept sample, one a setpoint
REPEATS, REST_S = 6, 0.3  # plays of each trace; before each


def shifted(y, lag, n, fs):
    """`n` values of `y` from `lag` s on."""
    t = np.arange(n) / fs + lag
    return np.interp(t, np.arange(len(y)) / fs, y)


def measures(c, ys, fs):
    """The figures named above from the command and torques."""
    n, edge = len(c), int(0.1 * fs)
    core = slice(edge, n - edge)
    gains, errors = [], []
    def misfit(y, lag):
        d = shifted(y, lag, n, fs)[core]
        a = np.stack([c[core], np.ones(n - 2 * edge)], 1)
        return np.sum((d - a @ np.linalg.lstsq(a, d, rcond=None)[0]) ** 2)
    def delay(y):
        # On the samples' grid, as a parabola through the least three.
        grid = range(int(0.06 * fs))
        coarse = min(grid[::8], key=lambda k: misfit(y, k / fs))
        k = min(range(max(coarse - 8, 1), coarse + 9), key=lambda k: misfit(y, k / fs))
        f = {j: misfit(y, j / fs) for j in (k - 1, k, k + 1)}
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
        errors.append(np.sqrt(np.mean((a[core] - c[core]) ** 2)))
        gains.append(np.polyfit(c[core], a[core], 1)[0])
        high, low = mean(a, crest), mean(a, floor)
        contrast.append((high - low) / drop)
        late.append(crosses(sign * smooth(y[:n]), 0.5 * (high + low))
                    - crosses(sc, 0.5 * (mean(c, crest) + mean(c, floor))))
    return {
        "delay_s": float(lag - 0.5 * PERIOD), "gain": float(np.mean(gains)), "error_nm": float(np.mean(errors)), "drop_nm": float(drop),
        "contrast": float(np.mean(contrast)), "late_s": float(np.mean(late) - 0.5 * PERIOD),
        "contrast_over_phases": float(np.std(contrast)), "crest_s": crest / fs, "floor_s": floor / fs,
    }


def command(path, peak):
    """The setpoints of a trace brought to a peak."""
    rows = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    table = np.array([[float(v) for v in row.split(",")] for row in rows[1:]])
    t, torque = table[:, 0], table[:, rows[0].split(",").index("rim_torque")]
    values = CubicSpline(t, torque, bc_type="natural")(np.arange(0, t[-1] + 1e-9, PERIOD))
    return values * peak / np.abs(values).max()


def limit(u, paths, share):
    """The figures of the traces of procedures/limit.toml, played from end to end."""
    line, commands, starts = Line(u), {}, {}
    for path in paths:
        commands[path.stem] = command(path, share * u.peak)
        line.hold(1.0)
        for _ in range(REPEATS):
            line.hold(REST_S)
            starts.setdefault(path.stem, []).append(line.at() * fast.STRIDE // KEEP)
            line.play(commands[path.stem])
    line.hold(0.2)
    fs = 1 / (KEEP * fast.H)
    played = [fast.run(u, line.values, phase, KEEP) for phase in fast.phases(PHASES)]
    found = {}
    for name, values in commands.items():
        # Each setpoint at its beginning.
        c = np.repeat(values, fast.STRIDE)[::KEEP]
        ys = [y[at:at + len(c) + int(0.07 * fs)] for y in played for at in starts[name][1:]]
        found[name] = measures(c, ys, fs)
    return found


def main():
    """Writes one file a unit."""
    folder = pathlib.Path(sys.argv[1])
    traces = unit.rigs().parent / "procedures" / "traces"
    for name in sys.argv[2:] or ("belt", "direct", "geared"):
        u = unit.load(unit.rigs() / f"{name}.toml")
        document = {"about": "see trace.py beside this file", "rig": u.file, "share_of_peak": 0.6, "step_s": fast.H,
                    "numpy": np.__version__, "scipy": scipy.__version__}
        document |= limit(u, [traces / "corner.csv", traces / "rough-corner.csv"], 0.6)
        rounded = json.loads(json.dumps(document), parse_float=lambda s: float(f"{float(s):.7g}"))
        (folder / f"trace-{name}.json").write_text(json.dumps(rounded, indent=1) + "\n", encoding="utf-8")
        print(name, json.dumps(rounded, indent=1))


if __name__ == "__main__":
    main()
