"""Follows the recording named on the command line: for each line of input, one line with the rows that are safe, the
tick at which they end, and the sum of the counts of `torque`."""

import sys

import h5py

with h5py.File(sys.argv[1], "r", swmr=True) as file:
    valid, time, torque = file["progress/valid"], file["time"], file["torque"]
    for _ in sys.stdin:
        for dataset in (valid, time, torque):
            dataset.refresh()
        rows = int(valid[0])
        end = int(time[rows - 1]) + int(file.attrs["sample_period_ticks"]) if rows else 0
        print(rows, end, int(torque[:rows].sum(dtype="int64")), flush=True)
