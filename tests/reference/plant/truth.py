"""What a perfect measurement of a clamped unit finds: its closed-loop response to sines on a preload.

Independent of the Rust plant: RK4 at 5 us (explicit, four orders more accurate than needed; the step-halving check
below is part of every run) on the equations of model.py, all frequencies side by side, then Fourier projection.

The chain: the bench's setpoint is a staircase, one value each `--setpoint-period`; the firmware reads it every poll
period (poll and hold), acts on it one dead time later; clipping, slew limit, voltage limit, current loop, two masses,
LuGre friction on both sides, ripple; output is the torque through the sensor, before its amplifier.

What is meant:
  gain            |Y(f)/U(f)|: U and Y are the projections of the staircase in force on the rig controller and of the
                  rim torque on exp(-i 2 pi f t) over one second (frequencies are whole Hz), after one second of
                  settling. N·m per N·m, no unit.
  phase_deg       of Y/U, delay included: poll phase + dead time + everything else.
  gain_1_5_hz     mean of the gain at 1, 2, 3, 4, 5 Hz: the reference of what follows.
  flat_band_hz    the lowest frequency at which the gain leaves the band of -3 dB to +3 dB (factor 10^(3/20)) about
                  that reference, and on which side it does.
  minus_3_db_hz   the frequency beyond the resonance above which the gain stays below -3 dB.
  resonance_hz    where the gain is largest (parabola through the top three points, in log gain).
All crossings are interpolated linearly in dB over log frequency between neighbouring whole Hz.

Run: /opt/pyref/bin/python tests/reference/plant/truth.py [--amplitude 1.4] [--preload 1.5] [--setpoint-period 250e-6]
     [--poll-phase 0.4] [--top 250] [--rig rigs/belt.toml] [--json out.json]
"""

import argparse
import json
import sys

import numpy as np

import model
import unit

H = 5e-6


def simulate(u, f, a, preload, period, phase, h, settle_s=1.0, measure_s=1.0):
    """Projections of staircase and rim torque at each frequency of `f`, and the greatest motor speed."""
    n = f.size
    per = lambda s: int(round(s / h))
    hold, poll, dead = per(period), per(u.poll_s), per(u.dead_s)
    for steps, s in ((hold, period), (poll, u.poll_s), (dead, u.dead_s)):
        assert abs(steps * h - s) < 1e-12, "times must be whole steps"
    first_poll = per(phase * u.poll_s)
    lead = per(0.4)  # preload comes up over 0.3 s and rests
    start, end = lead + per(settle_s), lead + per(settle_s + measure_s)
    y = np.zeros((model.states(u), n))
    setpoint, line, target, s = np.zeros(n), [], np.zeros(n), np.zeros(n)
    su, sy = np.zeros(n, complex), np.zeros(n, complex)
    most = u.slew * h
    fastest = np.zeros(n)
    for i in range(end):
        t = i * h
        if i % hold == 0:
            setpoint = (np.full(n, preload * 0.5 * (1 - np.cos(np.pi * min(t / 0.3, 1.0)))) if i < lead
                        else preload + a * np.sin(2 * np.pi * f * (t - lead * h)))
        if i >= first_poll and (i - first_poll) % poll == 0:
            line.append((i + dead, setpoint))
        if line and line[0][0] == i:
            target = np.clip(u.gain * line.pop(0)[1] + u.offset, -u.peak, u.peak)
        s_end = s + np.clip(target - s, -most, most)
        s_mid = s + np.clip(target - s, -most / 2, most / 2)
        k1 = model.rhs(u, s, y)
        k2 = model.rhs(u, s_mid, y + h / 2 * k1)
        k3 = model.rhs(u, s_mid, y + h / 2 * k2)
        k4 = model.rhs(u, s_end, y + h * k3)
        if i >= start:
            # Staircase: exact integral of exp over the step. Torque: rectangle rule, spectral over whole periods.
            w = np.exp(-2j * np.pi * f * (t + h / 2))
            su += setpoint * w * np.sinc(f * h)
            sy += model.rim_torque(u, y) * np.exp(-2j * np.pi * f * t)
            fastest = np.maximum(fastest, np.abs(y[2]))
        y, s = y + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), s_end
    return su, sy, fastest


def crossing(f, db, level, i):
    """Frequency between points i and i+1 where `db` passes `level`."""
    x = (level - db[i]) / (db[i + 1] - db[i])
    return float(np.exp(np.log(f[i]) + x * np.log(f[i + 1] / f[i])))


def measures(f, g):
    """The figures named above from the complex response `g` at whole frequencies `f`."""
    gain = np.abs(g)
    reference = gain[:5].mean()
    db = 20 * np.log10(gain / reference)
    out = np.nonzero(np.abs(db) > 3)[0]
    flat = crossing(f, db, 3.0 * np.sign(db[out[0]]), out[0] - 1) if out.size else None
    below = np.nonzero(db >= -3)[0][-1]
    top = int(np.argmax(gain))
    l = np.log(gain[top - 1:top + 2])
    shift = 0.5 * (l[0] - l[2]) / (l[0] - 2 * l[1] + l[2])
    return {
        "gain_1_5_hz": float(reference),
        "flat_band_hz": flat,
        "flat_band_left": ("up" if db[out[0]] > 0 else "down") if out.size else None,
        "minus_3_db_hz": crossing(f, db, -3.0, below) if below + 1 < f.size else None,
        "resonance_hz": float(f[top] + shift),
        "resonance_db": float(db[top]),
    }


def main():
    """Command line."""
    p = argparse.ArgumentParser()
    p.add_argument("--amplitude", type=float, default=1.4)
    p.add_argument("--preload", type=float, default=1.5)
    p.add_argument("--setpoint-period", type=float, default=250e-6)
    p.add_argument("--poll-phase", type=float, default=0.4)
    p.add_argument("--top", type=int, default=250)
    p.add_argument("--rig")
    p.add_argument("--json")
    o = p.parse_args()
    u = unit.load(o.rig)
    f = np.arange(1.0, o.top + 1)
    su, sy, fastest = simulate(u, f, o.amplitude, o.preload, o.setpoint_period, o.poll_phase, H)
    g = sy / su
    result = measures(f, g)
    few = np.array([3.0, 40.0, round(result["resonance_hz"]), round(result["minus_3_db_hz"] or 150)])
    half_u, half_y, _ = simulate(u, few, o.amplitude, o.preload, o.setpoint_period, o.poll_phase, H / 2)
    change = float(np.max(np.abs(np.abs(half_y / half_u) / np.abs(g[few.astype(int) - 1]) - 1)))
    phase = np.degrees(np.unwrap(np.angle(g)))
    for i in list(range(0, 5)) + list(range(9, f.size, 10)):
        db = 20 * np.log10(abs(g[i]) / result["gain_1_5_hz"])
        print(f"{f[i]:6.0f} Hz  gain {abs(g[i]):.4f}  {db:+7.2f} dB  {phase[i]:8.1f} deg  "
              f"fastest {fastest[i]:.2f} rad/s")
    print(json.dumps(result, indent=2), f"\nlargest change of a gain on halving the step: {change:.1e}")
    assert change < 1e-3
    if o.json:
        document = {
            "about": "see truth.py beside this file for what each figure means",
            "rig": u.file, "mounting": "clamped", "amplitude_nm": o.amplitude, "preload_nm": o.preload,
            "setpoint_period_s": o.setpoint_period, "poll_phase": o.poll_phase, "step_s": H,
            "python": sys.version.split()[0], "numpy": np.__version__, "step_halving_change": change,
            **result,
            "f_hz": f.tolist(), "gain": np.round(np.abs(g), 6).tolist(), "phase_deg": np.round(phase, 3).tolist(),
        }
        with open(o.json, "w", encoding="utf-8") as out:
            json.dump(document, out, indent=1)
            out.write("\n")


if __name__ == "__main__":
    main()
