"""What is read off the responses of truth.py beyond what it reads itself; adds to each file given:

  phase_ninety_hz  where the phase first falls through -90 degrees, straight between whole Hz
  group_delay_s    slope of the straight line through the phase over half an octave to either side of 10 Hz, each line by the share of
                   the octave that it stands for
  mode_hz, mode_damping  the linear mode that lies nearest, as tests/reference/analysis/mode.py says

There the firmware reads each setpoint at one and the same age; clocks that drift read them at every age, so half a setpoint's
period less that age, a pure delay of setpoints, is taken out of the phase first.

Run: python tests/reference/plant/readings.py FILE...   (numpy, scipy)
"""

import json
import pathlib
import sys

import numpy as np

import unit

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1] / "analysis"))
import mode


def main():
    """Adds the readings to each file."""
    for name in sys.argv[1:]:
        with open(name, encoding="utf-8") as file:
            d = json.load(file)
        f, gain = np.array(d["f_hz"]), np.array(d["gain"])
        period = d["setpoint_period_s"]
        age = d["poll_phase"] * unit.load(unit.rigs() / d["rig"]).poll_s % period
        phase = np.array(d["phase_deg"]) + 360 * f * (age - period / 2)
        i = int(np.argmax(phase <= -90))
        ninety = f[i - 1] + (phase[i - 1] + 90) / (phase[i - 1] - phase[i])
        near = (f >= 10 / 2 ** 0.5) & (f <= 10 * 2 ** 0.5)
        slope = np.polyfit(f[near], phase[near], 1, w=1 / np.sqrt(f[near]))[0]
        hz, damping = mode.mode(f, gain * np.exp(1j * np.radians(phase)))
        d |= {"phase_ninety_hz": float(ninety), "group_delay_s": float(-slope / 360), "mode_hz": float(hz),
              "mode_damping": float(damping)}
        print(name, {k: d[k] for k in ("phase_ninety_hz", "group_delay_s", "mode_hz", "mode_damping")})
        lists = {k: d.pop(k) for k in ("f_hz", "gain", "phase_deg")}
        with open(name, "w", encoding="utf-8") as file:
            json.dump(d | lists, file, indent=1)
            file.write("\n")


if __name__ == "__main__":
    main()
