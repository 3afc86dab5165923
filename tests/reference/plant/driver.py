"""What a perfect measurement finds of what a driver gets: pulses and trains, the static map, small steps, small sines, heat.

Independent of the Rust plant, excitations and estimators: fast.py plays setpoints written here, free of sensor noise, each procedure
from end to end, since friction keeps what was before and magnets warm; heat is scipy's integration of both heat balances. Definitions are those of the terms (IEEE Std 181, IEC 61298-2), written again:

  pulse   crest over crest commanded; middle between both instants at half the crest less half the width; time between them over 2/3
          of the width; largest torque either way behind the delayed end; mean over all pulses, whose starts are dithered
  train   crests less valleys between them over the crest commanded, first pair left out; valleys over the crests beside them
  static  settled torque at the levels of the staircase, mean of both ways: least squares of one slope and two intercepts over 10 to
          70 % (deadband: 10 to 45 %) of the largest level; distances from the best line at its worst (linear programme), the line
          through the ends, the best line through zero
  step    change of the mean over the last half of a hold behind a small step on a preload, less that without one
  smallest  2 z s over the share, z the normal quantile of 95 %, s that of a difference of two means of the sensor's noise alone
  sine    amplitude and phase of torque over setpoint by projection on whole periods
  heat    roots of both balances; torque, temperature and half the rise by integration of the holds; setpoint of a rise of 50 K

Run: python tests/reference/plant/driver.py tests/reference/plant [belt direct geared]   (numpy, scipy; numba makes it minutes)
"""

import json
import pathlib
import sys
import tomllib

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.optimize import linprog, minimize_scalar
from scipy.special import ndtri

import fast
import unit
from line import PERIOD, Line

KEEP = 5  # steps a kept sample: 8 kHz, two a setpoint
FS = 1 / (KEEP * fast.H)
SHOCKS, TRIALS = 24, 6  # times that shock and resolution are played, each in an order of its own: friction keeps what was before
STAIRS = 8  # phases of the firmware that the staircase is played at


def crossings(y, top, level):
    """Places at which `y` passes a level on both sides of its crest."""
    a = top - int(np.argmax(y[:top + 1][::-1] < level))
    b = top + int(np.argmax(y[top:] < level))
    return a + (level - y[a]) / (y[a + 1] - y[a]), b - 1 + (level - y[b - 1]) / (y[b] - y[b - 1])


def pulse(y, at, sign, a, width):
    """Share, delay, width and what is left of one pulse whose first setpoint comes at sample `at`."""
    y = sign * y[at - int(0.015 * FS):at + int((width + 0.1) * FS)]
    base = int(0.015 * FS)
    y = y[base:] - y[:base].mean()
    top = int(np.argmax(y[:int((width + 0.06) * FS)]))
    up, down = (c / FS for c in crossings(y, top, 0.5 * y[top]))
    late = 0.5 * (up + down) - 0.5 * width
    rest = y[int(np.ceil((width + late) * FS)):]
    # On average a held setpoint is half a period late.
    return y[top] / a, late - 0.5 * PERIOD, (down - up) / (2 / 3 * width), np.abs(rest).max() / a


def train(y, at, sign, a, width, spacing, count):
    """Swing kept and what is left between the pulses of one train."""
    length = (count - 1) * spacing + width
    base = y[at - int(0.015 * FS):at].mean()
    y = sign * (y[at:at + int((length + 0.1) * FS)] - base)
    t = np.arange(len(y)) / FS
    one = lambda t: np.where(t % spacing < width, np.sin(np.pi * (t % spacing) / width), 0.0)
    command = lambda late: np.where((t >= late) & (t < late + length), one(t - late), 0.0)
    lags = np.arange(0, 0.06, 1 / FS)
    late = lags[int(np.argmax([y @ command(lag) for lag in lags]))]
    crests = []
    for k in range(count):
        middle = k * spacing + 0.5 * width + late
        i, j = (int(np.ceil((middle + side * spacing / 2) * FS)) for side in (-1, 1))
        crests.append(max(i, 0) + int(np.argmax(y[max(i, 0):j])))
    swing, left = [], []
    for m, n in list(zip(crests, crests[1:]))[1:]:
        low, high = y[m:n].min(), 0.5 * (y[m] + y[n])
        swing.append((high - low) / a)
        left.append(low / high)
    return np.mean(swing), np.mean(left)


def shock(u):
    """procedures/shock.toml from end to end, several times: means over all pulses of a kind."""
    pulses, several = {}, {}
    rng = np.random.default_rng(11)
    for phase in fast.phases(SHOCKS):
        play_shock(u, rng, phase, pulses, several)
    mean = lambda rows, names: {key: dict(zip(names, np.mean(found, axis=0).tolist())) for key, found in rows.items()}
    return mean(pulses, ("retention", "delay_s", "width", "after")), mean(several, ("swing", "left"))


def play_shock(u, rng, phase, pulses, several):
    """Plays it once and adds what each pulse and train shows."""
    a, preload, widths = 0.15 * u.peak, 0.2 * u.peak, (4e-3, 8e-3, 15e-3, 30e-3, 60e-3)
    trains = [(30e-3, 60e-3), (15e-3, 30e-3), (10e-3, 20e-3)]
    line, singles, rows = Line(u), {}, {}
    def prepare(sign):
        line.hold(0.06)
        line.ramp(sign * preload)
        line.hold(0.15 + rng.uniform(0, 2e-3))
    line.hold(0.5)
    for _ in range(12):
        pairs = [(sign, width) for sign in (1.0, -1.0) for width in widths]
        for number in rng.permutation(len(pairs)):
            sign, width = pairs[number]
            prepare(sign)
            singles.setdefault((sign, width), []).append(line.at())
            line.shape(lambda t: sign * a * np.sin(np.pi * t / width), width)
            line.hold(0.1)
            line.ramp(0.0)
    for width, spacing in trains:
        line.hold(0.5)
        for _ in range(6):
            for sign in rng.permutation([1.0, -1.0]):
                prepare(sign)
                rows.setdefault((sign, width, spacing), []).append(line.at())
                for k in range(8):
                    line.shape(lambda t: sign * a * np.sin(np.pi * t / width), width)
                    line.hold((spacing - width) if k < 7 else 0.1)
                line.ramp(0.0)
    y = fast.run(u, line.values, phase, KEEP)
    begin = lambda at: int(round(at * PERIOD * FS))
    for (sign, width), starts in singles.items():
        key = f"{width * 1e3:g} ms, {sign * a:.6g} on {sign * preload:.6g}"
        pulses.setdefault(key, []).extend(pulse(y, begin(at), sign, a, width) for at in starts)
    for (sign, width, spacing), starts in rows.items():
        key = f"8 of {width * 1e3:g} ms, {sign * a:.6g} on {sign * preload:.6g}, every {spacing * 1e3:g} ms"
        several.setdefault(key, []).extend(train(y, begin(at), sign, a, width, spacing, 8) for at in starts)


def straight(x, y, low, high):
    """Slope, mean of both intercepts, half their distance over the slope."""
    share = np.abs(x) / np.abs(x).max()
    own = (share >= low - 1e-9) & (share <= high + 1e-9)
    x, y = x[own], y[own]
    a = np.stack([x, x > 0, x < 0], 1).astype(float)
    slope, up, down = np.linalg.lstsq(a, y, rcond=None)[0]
    return slope, 0.5 * (up + down), 0.5 * (down - up) / slope


def static(u):
    """The staircase of procedures/static.toml, all cycles but the first, at several phases: its firmware's clock drifts past them."""
    to, steps, dwell = 0.6 * u.peak, 20, 0.4
    way = list(range(1, steps + 1)) + list(range(steps - 1, -steps - 1, -1)) + list(range(-steps + 1, 1))
    line, read = Line(u), []
    line.hold(1.0)
    for cycle in range(4):
        line.hold(0.5)
        before = 0
        for level in way:
            line.ramp(to * level / steps)
            line.hold(dwell)
            if cycle:
                read.append((level, level > before, line.at()))
            before = level
    keep = 20
    fs = 1 / (keep * fast.H)
    up, down = {}, {}
    for phase in fast.phases(STAIRS):
        y = fast.run(u, line.values + [0.0] * 200, phase, keep)
        for level, rising, end in read:
            i = int(end * PERIOD * fs)
            (up if rising else down).setdefault(level, []).append(y[i - int(0.4 * dwell * fs):i].mean())
    levels = np.arange(-steps, steps + 1)
    both = {l: [np.mean(d[l]) for d in (up, down) if l in d] for l in levels}
    x, t = to * levels / steps, np.array([np.mean(both[l]) for l in levels])
    gain, offset, _ = straight(x, t, 0.1, 0.7)
    deadband = straight(x, t, 0.1, 0.45)[2]
    span = (x[-1] - x[0]) * abs(gain)
    # Line whose largest distance is least: minimise e with |t - a - b x| <= e.
    one = np.ones_like(x)
    best = linprog([0, 0, 1], A_ub=np.block([[-one[:, None], -x[:, None], -one[:, None]], [one[:, None], x[:, None], -one[:, None]]]),
                   b_ub=np.concatenate([-t, t]), bounds=[(None, None)] * 3).x[2]
    ends = np.abs(t - t[0] - (t[-1] - t[0]) / (x[-1] - x[0]) * (x - x[0])).max()
    zero = t[steps]
    through = minimize_scalar(lambda b: np.abs(t - zero - b * x).max(), bounds=(0.5, 1.5), method="bounded",
                              options={"xatol": 1e-12}).fun
    return {
        "gain": gain, "offset_nm": offset, "deadband_nm": deadband,
        "hysteresis_nm": max(abs(np.mean(down[l]) - np.mean(up[l])) for l in levels if l in up and l in down),
        "independent": best / span, "terminal": ends / span, "zero_based": through / span,
        "largest_nm": float(t[-1]), "lowest_nm": float(t[0]),
    }


def resolution(u, noise):
    """Small steps and sines of procedures/resolution.toml, played from end to end several times: shares at 2 % of the peak, and the
    smallest steps by the sensor's noise alone."""
    rng = np.random.default_rng(7)
    plays = [play_resolution(u, rng, phase) for phase in fast.phases(TRIALS)]
    changes = {f"on {share * u.peak:.6g}": steps([(y, trials) for y, _, trials, _ in plays], share, noise)
               for share in SHARES}
    found = {}
    for y, values, _, waves in plays:
        sines(y, values, waves, found, 0.5 * u.peak)
    return changes, {key: dict(zip(("gain", "delay_s"), np.mean(rows, axis=0).tolist())) for key, rows in found.items()}


def cold_sines(u):
    """Small sines of a unit that has done nothing before: magnets lose torque as they warm, on the geared unit two hundredths in the six
    minutes of procedures/resolution.toml."""
    found = {}
    for phase in fast.phases(TRIALS):
        line, waves = Line(u), {}
        line.hold(1.0)
        for share in SINES:
            waves[share * u.peak] = [play_sine(u, line, share)]
        sines(fast.run(u, line.values, phase, KEEP), line.values, waves, found, 0.5 * u.peak)
    return {key: dict(zip(("gain", "delay_s"), np.mean(rows, axis=0).tolist())) for key, rows in found.items()}


SHARES, SINES, SINE_HZ, PERIODS = (0.0, 0.25, 0.5, 0.75), (0.005, 0.02), 5.0, 5


def play_sine(u, line, share):
    """One small sine on half of the peak torque; where it begins."""
    f, a = SINE_HZ, share * u.peak
    line.hold(0.5)
    line.ramp(0.5 * u.peak)
    line.hold(0.3)
    start = line.at()
    rise = lambda t: np.minimum(1.0, 0.5 - 0.5 * np.cos(np.pi * f * np.minimum(t, 1 / f)))
    fall = lambda t: rise((PERIODS + 2) / f - t)
    line.shape(lambda t: a * rise(t) * fall(t) * np.sin(2 * np.pi * f * t), (PERIODS + 2) / f)
    line.ramp(0.0)
    return start


def play_resolution(u, rng, phase):
    """Plays it once: torque, setpoints, where the trials of each preload and size and the sines of each amplitude begin."""
    sizes = [sign * s * u.peak for s in (2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 2e-2) for sign in (1, -1)] + [0.0]
    line, trials, waves = Line(u), {}, {}
    line.hold(1.0)
    for _ in range(8):
        for share in SHARES:
            # Before each preload its way once without a reading.
            for number in [None, *rng.permutation(len(sizes))]:
                line.hold(0.25)
                if share:
                    line.ramp(share * u.peak)
                    line.hold(0.1)
                line.hold(0.2)
                if number is None:
                    line.hold(0.2)
                    line.ramp(0.0)
                    continue
                trials.setdefault((share, sizes[number]), []).append(line.at())
                line.jump(share * u.peak + sizes[number])
                line.hold(0.2)
                line.ramp(0.0)
    line.hold(1.0)
    for _ in range(6):
        for share in SINES:
            waves.setdefault(share * u.peak, []).append(play_sine(u, line, share))
    return fast.run(u, line.values, phase, KEEP), line.values, trials, waves


def steps(plays, share, noise):
    """What arrives of small steps on one preload."""
    sizes = sorted({size for _, trials in plays for own, size in trials if own == share})
    read, fs = 0.1, 2000.0
    sd = noise * np.sqrt(2 / (read * fs))
    means = {}
    for size in sizes:
        moved = []
        for y, trials in plays:
            for start in trials[share, size]:
                at, end = int(start * PERIOD * FS), int((start * PERIOD + 0.2) * FS)
                moved.append(y[end - int(read * FS):end].mean() - y[at - int(read * FS):at].mean())
        means[size] = np.mean(moved)
    size = max(sizes)
    up, down = (means[size] - means[0.0]) / size, (means[0.0] - means[-size]) / size
    needed = 2 * ndtri(0.95) * sd
    # The smallest step lies below the sizes that are told: by the answer to those nearest, straight from none.
    small = lambda sign: min((s for s in sizes if sign * s > 0 and sign * (means[s] - means[0.0]) > needed), key=abs)
    smallest = {sign: needed * small(sign) / (means[small(sign)] - means[0.0]) for sign in (1, -1)}
    return {"up": up, "down": down, "smallest_up_nm": abs(smallest[1]), "smallest_down_nm": abs(smallest[-1])}


def sines(y, values, waves, found, preload):
    """Adds amplitude and delay of small sines on one preload."""
    for a, starts in waves.items():
        for start in starts:
            at, n = int(round((start * PERIOD + 1 / SINE_HZ) * FS)), int(round(PERIODS / SINE_HZ * FS))
            t = np.arange(n) / FS
            # Each setpoint at its beginning; on average one that is held is half a period late.
            command = np.interp(np.arange(at, at + n) / FS, np.arange(len(values)) * PERIOD, values)
            # Beside sine and cosine a line, since the torque creeps.
            angle = 2 * np.pi * SINE_HZ * t
            basis = np.stack([np.cos(angle), np.sin(angle), np.ones(n), t - t.mean()], 1)
            of = lambda v: complex(*(np.linalg.lstsq(basis, v, rcond=None)[0][:2] * [1, -1]))
            ratio = of(y[at:at + n]) / of(command)
            delay = -np.angle(ratio) / (2 * np.pi * SINE_HZ) - 0.5 * PERIOD
            found.setdefault(f"{a:.6g} on {preload:.6g}", []).append((abs(ratio), delay))


def heat(u):
    """The holds of procedures/heat.toml."""
    h = u.heat
    inner, outer, cw, cc, cold = h.winding_case, h.case_air, h.winding, h.case, h.ambient
    ohm, factor, alpha = h.ohm, h.loss_factor, h.flux_loss
    matrix = np.array([[-1 / (inner * cw), 1 / (inner * cw)], [1 / (inner * cc), -(1 / inner + 1 / outer) / cc]])
    fast_s, slow_s = sorted(-1 / np.linalg.eigvals(matrix))

    def go(state, nm, seconds):
        i2 = (nm / u.kt) ** 2
        def rate(_, y):
            loss = factor * i2 * ohm * (1 + fast.ALPHA * (y[0] - 20))
            across = (y[0] - y[1]) / inner
            return [(loss - across) / cw, (across - (y[1] - cold) / outer) / cc]
        return solve_ivp(rate, (0, seconds), state, rtol=1e-9, atol=1e-9, dense_output=True)

    state, level, flux = [cold, cold], 0.35 * u.peak, lambda y: 1 - alpha * (y[1] - 20)
    pairs, before = [], None
    for _ in range(30):
        run = go(state, level, 60.0)
        t = np.linspace(0, 60, 601)
        mean = flux(run.sol(t)).mean()
        if before is not None:
            pairs.append(0.5 * (before + mean))
        state, before = run.y[:, -1].tolist(), mean
    for _ in range(6):
        state = go(state, 0.0, 40.0).y[:, -1].tolist()
        state = go(state, 0.45 * u.peak, 20.0).y[:, -1].tolist()
    part = max(len(pairs) // 10, 1)
    hot = state[0] - cold
    run = go(state, 0.0, 600.0)
    t = np.linspace(0, 600, 600001)
    below = np.nonzero(run.sol(t)[0] - cold <= 0.5 * hot)[0]
    rise = 50.0
    loss = rise / (inner + outer)
    i = np.sqrt(loss / (factor * ohm * (1 + fast.ALPHA * (cold + rise - 20))))
    return {
        "fast_s": fast_s, "slow_s": slow_s, "held": np.mean(pairs[-part:]) / np.mean(pairs[:part]),
        "recovery_s": float(t[below[0]]) if below.size else None,
        "sustained_nm": i * u.kt / u.gain,
        "hottest_degc": state[0],
    }


def main():
    """Writes one file a unit."""
    folder = pathlib.Path(sys.argv[1])
    for name in sys.argv[2:] or ("belt", "direct", "geared"):
        rig = unit.rigs() / f"{name}.toml"
        u = unit.load(rig)
        noise = unit.si(tomllib.loads(rig.read_text(encoding="utf-8"))["virtual"]["sensors"]["torque"]["noise"])
        document = {
            "about": "see driver.py beside this file", "rig": u.file, "numpy": np.__version__, "scipy": scipy.__version__,
            "sensor_noise_nm": noise, "heat": heat(u), "static": static(u),
        }
        document["pulses"], document["trains"] = shock(u)
        document["changes"], document["sines"] = resolution(u, noise)
        document["cold_sines"] = cold_sines(u)
        rounded = json.loads(json.dumps(document), parse_float=lambda s: float(f"{float(s):.7g}"))
        (folder / f"driver-{name}.json").write_text(json.dumps(rounded, indent=1) + "\n", encoding="utf-8")
        print(name, json.dumps(rounded, indent=1))


if __name__ == "__main__":
    main()
