"""Writes the rows of a plain file with h5py, column by column, as a recording keeps them; prints what it took.

Usage: write_with_h5py.py PLAIN OUT CHUNK; blocks of CHUNK rows, in the one-writer-many-readers mode and flushed each if
CHUNK is less than 1,000.
"""

import os
import resource
import sys
import time

import h5py
import numpy as np

plain, out, chunk = sys.argv[1], sys.argv[2], int(sys.argv[3])
row = np.dtype([("time", "<i8")] + [(f"channel_{i}", "<i4" if i in (1, 2, 3) else "<i2") for i in range(8)])
rows = np.fromfile(plain, dtype=row)
columns = {name: np.ascontiguousarray(rows[name]) for name in row.names}
used = resource.getrusage(resource.RUSAGE_SELF)
begun = time.perf_counter()
with h5py.File(out, "w", libver="v110") as file:
    kinds = {"chunks": (chunk,), "shuffle": True, "compression": "gzip", "compression_opts": 1, "maxshape": (None,)}
    datasets = {n: file.create_dataset(n, shape=(0,), dtype=c.dtype, **kinds) for n, c in columns.items()}
    flushed = chunk < 1000
    if flushed:
        file.swmr_mode = True
    for start in range(0, len(rows), chunk):
        end = min(start + chunk, len(rows))
        for name, dataset in datasets.items():
            dataset.resize((end,))
            dataset[start:end] = columns[name][start:end]
        if flushed:
            file.flush()
print("writing_s", time.perf_counter() - begun)
after = resource.getrusage(resource.RUSAGE_SELF)
print("processor_s", after.ru_utime + after.ru_stime - used.ru_utime - used.ru_stime)
print("bytes", os.path.getsize(out))
