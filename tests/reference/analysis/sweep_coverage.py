"""Bias, spread and coverage of what the sweep survey printed.

Truth: crossings from tests/reference/plant (sine by sine), the equivalent mode from mode.py beside this file, the delay from
the rig file: dead time 3.5 ms and half the polling period of 1 ms. The truth hardly depends on the poll phase: at phases
0.15, 0.4, 0.65 and 0.9 the -3 dB frequencies agree to 1e-4 Hz, the ends of the flat band to 4e-3 Hz.

Run: /opt/pyref/bin/python tests/reference/analysis/sweep_coverage.py found.csv [--budget]
"""
import json
import pathlib
import sys

import numpy as np

import mode

PLANT = pathlib.Path(__file__).resolve().parents[1] / "plant" / "belt-1.4-on-1.5-every-250us.json"


def truths():
    """Truth of each quantity."""
    d = json.load(open(PLANT, encoding="utf-8"))
    f0, zeta = mode.mode(np.array(d["f_hz"]), np.array(d["gain"]) * np.exp(1j * np.radians(d["phase_deg"])))
    return {"bandwidth": d["minus_3_db_hz"], "flat_band": d["flat_band_hz"], "phase_delay": 4e-3,
            "resonance": f0, "resonance_damping": zeta}


def main():
    """Prints a line a quantity."""
    rows = [line.strip().split(",") for line in open(sys.argv[1], encoding="utf-8")]
    print("quantity            truth      mean       bias       sd         mean u     inside     checks failed")
    for name, truth in truths().items():
        mine = [r for r in rows if r[1] == name]
        v, u, low, high = np.array([[float(x) for x in r[2:6]] for r in mine if r[2]]).T
        inside = np.sum((low <= truth) & (truth <= high))
        failed = sum(r[6] != "0" for r in mine)
        print(f"{name:18s} {truth:10.6g} {v.mean():10.6g} {v.mean() - truth:+10.3g} {v.std(ddof=1):10.3g} {u.mean():10.3g} "
              f"{inside:4d}/{len(mine):<4d} {failed}")
        if "--budget" in sys.argv:
            parts = {}
            for part in (p.split("=") for r in mine for p in r[7:]):
                parts.setdefault(part[0], []).append(float(part[1]))
            for source, values in parts.items():
                print(f"    {source}: mean {np.mean(values):.3g}")


if __name__ == "__main__":
    main()
