"""Prints what is expected of a recording that is kept, as h5py reads it: one fact a line, `NAME VALUE...`.

Usage: recording_facts.py RECORDING > FACTS. Made once, when a recording is put beside its facts; a sealed recording's
seal is what its writer stored.
"""

import sys

import h5py

path = sys.argv[1]
try:
    file = h5py.File(path, "r")
except OSError:  # its writer died
    file = h5py.File(path, "r", swmr=True)
with file:
    sealed = file.attrs["state"] == "sealed"
    rows = file["time"].shape[0] if sealed else int(file["progress/valid"][0])
    print("schema_version", file.attrs["schema_version"])
    print("state", file.attrs["state"])
    print("run_id", file.attrs["run_id"])
    print("operator", file.attrs["operator"])
    if "faults" in file.attrs:
        print("faults", file.attrs["faults"])
    print("rows", rows)
    print("first_tick", int(file["time"][0]))
    print("last_tick", int(file["time"][rows - 1]))
    if sealed:
        print("completion", file.attrs["completion"])
        print("seal", file.attrs["seal"])
        for table in ("segments", "events", "host", "round_trips"):
            print("table", table, file[table]["row"].shape[0])
    else:
        lines = bytes(file["progress/journal"][: int(file["progress/valid"][1])]).decode().splitlines()
        for table in ("segments", "events", "host", "round_trips"):
            print("table", table, sum(line.startswith(f'["{table}",') for line in lines))
    channels = {name: d for name, d in file.items() if "channel" in d.attrs}
    for name in sorted(channels, key=lambda name: channels[name].attrs["channel"]):
        channel = channels[name]
        counts = channel[:rows].astype("int64")
        print("channel", name, channel.attrs["units"], int(counts.sum()), int(counts.min()), int(counts.max()))
        row = rows // 3
        value = channel.attrs["scale_factor"] * int(counts[row]) + channel.attrs["add_offset"]
        print("value", name, row, repr(float(value)))
