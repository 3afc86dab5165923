"""What a perfect measurement by a sweep finds beside one by steady sines, on the same clamped unit.

Friction and gaps act at the amplitude that the system has, and in a sweep that comes from a little before. How much this matters is
computed here: setpoints of procedures/quick.toml's sweep, played by fast.py (RK4 at 25 us), sixteen sweeps that begin at slightly other
frequencies and at four phases of the firmware's period, so that harmonics of lower frequencies average out; in bands of 6 % either way a
cubic is laid through the spectra, and a straight line for what the record does not begin and end with. The gain over that from 1 to
5 Hz is held against the sine-by-sine gain of truth.py.

Found (numpy 2.4.6), by so much the frequency at -3 dB, and that at +3 dB, differs from that of sines: belt unit -0.1 and +0.2 permille,
direct unit 0.0 and 0.0, geared unit, whose gaps rattle, -2.5 and +3.5. Near the resonance the gain differs by 7 permille on belt and
direct unit, by 9 % on the geared one.

Run: /opt/pyref/bin/python tests/reference/plant/swept.py belt-1.4-on-1.5-every-250us.json  (numba makes it fast)
"""

import json
import pathlib
import sys

import numpy as np

import fast
import line
import unit

FROM, TO, SECONDS = 0.5, 300.0, 8.0
BAND = 0.06


def spectra(u, amplitude, preload, phase, start_hz):
    """Frequencies, spectrum of the setpoint's staircase and of the torque, of one sweep from rest to rest."""
    played = line.Line(u)
    played.ramp(preload)
    played.hold(0.3)
    at = played.at()
    rate = np.log(TO / start_hz) / SECONDS
    played.shape(lambda t: amplitude * np.sin(2 * np.pi * start_hz * (np.exp(rate * t) - 1) / rate), SECONDS)
    played.hold(0.4)
    torque = fast.run(u, played.values, phase, fast.STRIDE)[at:]
    setpoint = np.array(played.values[at:]) - preload
    f = np.fft.rfftfreq(len(setpoint), line.PERIOD)
    return f, np.fft.rfft(setpoint) * np.sinc(f * line.PERIOD), np.fft.rfft(torque - torque[0])


def gain(f, setpoint, torque, delay_s, centre, half):
    """Magnitude at the centre of a band."""
    inside = abs(f - centre) < half
    x = (f[inside] - centre) / half
    u, y = setpoint[inside], torque[inside] * np.exp(2j * np.pi * f[inside] * delay_s)
    columns = [u * x ** p for p in range(4)] + [np.ones_like(u), x + 0j]
    return abs(np.linalg.lstsq(np.stack(columns, 1), y, rcond=None)[0][0])


def main():
    """Command line."""
    known = json.loads((pathlib.Path(__file__).parent / sys.argv[1]).read_text(encoding="utf-8"))
    u = unit.load(unit.rigs() / known["rig"])
    f_hz = np.array(known["f_hz"][19:])
    sines = np.array(known["gain"][19:]) / known["gain_1_5_hz"]
    found = []
    for k in range(16):
        of = spectra(u, known["amplitude_nm"], known["preload_nm"], (k % 4 + 0.5) / 4, FROM * (1 + 0.004 * k))
        read = lambda centre, half: gain(*of, u.dead_s + u.poll_s / 2, centre, half)
        low = np.mean([read(1.6, 1.0), read(2.5, 1.5), read(4.0, 2.4)])
        found.append([read(centre, BAND * centre) / low for centre in f_hz])
    permille = 1e3 * (np.mean(found, 0) / sines - 1)
    slopes = np.gradient(np.log(sines), np.log(f_hz))
    for start in range(0, len(f_hz) - 9, 10):
        print(f"{f_hz[start]:4.0f} to {f_hz[start + 9]:4.0f} Hz: gain {permille[start:start + 10].mean():+7.2f} permille")
    for name in ("flat_band_hz", "minus_3_db_hz"):
        around = abs(f_hz / known[name] - 1) < BAND
        moved = -permille[around].mean() / slopes[around].mean()
        print(f"{name} {known[name]:.2f}: {permille[around].mean():+.2f} permille, {moved:+.2f} permille of the frequency")


if __name__ == "__main__":
    main()
