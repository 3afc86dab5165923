"""What a perfect measurement finds of the steps of procedures/quick.toml, by size and direction.

Independent of the Rust plant, excitations and estimators: fast.py plays setpoints written here at steps of 25 µs, free of sensor
noise and filter, through the rig's own limit on the rate of setpoints; every step in an order of its own and with dithered starts,
since friction keeps what was before. Definitions are those of IEEE Std 181, written again on a record of 40 kHz; the level left is
the mean of 20 ms before the step, the level reached the median of the last 15 ms of the hold:

  transition_s    from the first passage of 10 % to that of 90 %
  to_half_s       first passage of 50 % less the instant at which the firmware acts on the setpoint
  overshoot, undershoot  largest excursion beyond the level reached; largest short of it behind the peak; over the amplitude
  settling_s      last entry into the band of 2 % about the level reached, from the setpoint coming into force
  gain            amplitude over the commanded change
  largest, sustained  steepest slope of the record before 90 % behind the sensor's filter (scipy's Butterworth of second order with the
                  amplifier's corner), as no sensor shows what lies beyond its band; half the amplitude over the shortest time in which it is
                  gone through; N·m/s

Each with the standard error of its mean (`…_u`).

Run: python tests/reference/plant/steps.py tests/reference/plant [belt direct geared]   (numpy, scipy; numba makes it minutes)
"""

import json
import pathlib
import sys
import tomllib

import numpy as np
from scipy.signal import butter, lfilter

import fast
import unit
from line import Line

TIMES = 24  # the procedure is played as often, each time at another phase of the firmware


def passage(y, level):
    """First place, in samples, at which `y` comes up to a level."""
    i = int(np.argmax(y >= level))
    return i - 1 + (level - y[i - 1]) / (y[i] - y[i - 1]), i


def sustained(y, rise):
    """Shortest number of samples in which `y` rises by `rise`, on its way up."""
    top = int(np.argmax(y))
    up = np.maximum.accumulate(y[:top + 1])
    ends = np.interp(up + rise, up, np.arange(up.size), right=np.inf)
    return np.min(ends - np.arange(up.size))


def measure(y, at, commanded, hold, acts, corner):
    """Measures of one step whose setpoint comes into force at sample `at`, and is acted on at sample `acts`."""
    y = np.sign(commanded) * y
    low, own = y[at - int(0.02 / fast.H):at].mean(), y[at:at + int(hold / fast.H)]
    high = np.median(own[-int(0.015 / fast.H):])
    a = high - low
    (t10, _), (t50, i50), (t90, i90) = (passage(own, low + q * a) for q in (0.1, 0.5, 0.9))
    peak = i50 + int(np.argmax(own[i50:]))
    out = int(np.nonzero(np.abs(own - high) > 0.02 * a)[0][-1])
    edge = high + np.copysign(0.02 * a, own[out] - high)
    behind = lfilter(*butter(2, corner, fs=1 / fast.H), own - own[0])[:i90 + int(0.3 / corner / fast.H)]
    settled = out + (edge - own[out]) / (own[out + 1] - own[out])
    return {
        "transition_s": (t90 - t10) * fast.H,
        "to_half_s": (at + t50 - acts) * fast.H,
        "overshoot": (own[peak] - high) / a,
        "undershoot": (high - own[peak:].min()) / a,
        "settling_s": settled * fast.H,
        "gain": a / abs(commanded),
        "largest": np.gradient(behind).max() / fast.H,
        "sustained": 0.5 * a / (sustained(own, 0.5 * a) * fast.H),
    }


def play(u, spread, corner, rng, phase, rows):
    """Plays all steps once and adds what each shows."""
    line, begun = Line(u), []

    def step(start, change, settle):
        line.hold(settle + rng.integers(0, 4) * fast.STRIDE * fast.H)
        begun.append((line.at(), start, change))
        line.jump(start + change)
        line.hold(0.15)
        line.ramp(0.0)

    line.hold(0.5)
    for _ in range(8):
        for share in rng.permutation([0.1, -0.1, 0.25, -0.25, 0.4, -0.4]):
            step(0.0, share * u.peak, 0.12)
    line.hold(0.5)
    for _ in range(12):
        for share in rng.permutation([0.1, -0.1, 0.2, -0.2]):
            line.hold(0.06)
            line.ramp(np.sign(share) * 0.2 * u.peak)
            step(line.now, share * u.peak, 0.12)
    line.hold(0.5)
    y = fast.run(u, line.values, phase, 1, spread)
    poll, dead, first = (int(round(t / fast.H)) for t in (u.poll_s, u.dead_s, fast.first_poll(u, phase) * fast.H))
    for number, start, change in begun:
        at = number * fast.STRIDE
        acts = at + (first - at) % poll + dead
        found = measure(y, at, change, 0.15, acts, corner)
        rows.setdefault(f"{start:.6g} to {start + change:.6g}", []).append(found)


def main():
    """Plays each unit's steps and writes what they show."""
    out, *names = sys.argv[1:]
    for name in names or ("belt", "direct", "geared"):
        path = unit.rigs() / f"{name}.toml"
        u = unit.load(path)
        file = tomllib.loads(path.read_text(encoding="utf-8"))
        spread = unit.si(file["rig"]["limits"]["slew"])
        corner = unit.si(file["virtual"]["sensors"]["torque"]["amplifier"])
        rows, rng = {}, np.random.default_rng(17)
        for phase in fast.phases(TIMES):
            play(u, spread, corner, rng, phase, rows)
        document = {"about": "see steps.py beside this file for what each figure means", "rig": path.name,
                    "python": sys.version.split()[0], "numpy": np.__version__, "steps": {}}
        for key, found in sorted(rows.items()):
            table = {"n": len(found)}
            for what in found[0]:
                values = np.array([one[what] for one in found])
                table[what], table[f"{what}_u"] = float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))
            document["steps"][key] = table
            print(name, key, {k: float(f"{v:.5g}") for k, v in table.items() if not k.endswith("_u")}, flush=True)
        with open(pathlib.Path(out) / f"steps-{name}.json", "w", encoding="utf-8") as file:
            json.dump(document, file, indent=1)
            file.write("\n")


if __name__ == "__main__":
    main()
