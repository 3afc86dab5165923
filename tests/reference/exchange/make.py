"""Writes the small files of tests/data/exchange with other programs' own writers.

    /opt/pyref/bin/python tests/reference/exchange/make.py          # numpy, scipy, h5py, xarray (h5netcdf)
    python tests/reference/exchange/make.py parquet                 # with pyarrow installed

The data are invented: 400 rows at 1 kHz, a command that steps from 0 to 1.5 N·m at 0.1 s, a torque of 0.9 times the
command and a little saw tooth, an angle that grows by 0.25 degree a row.
"""

import pathlib
import sys

import numpy as np

OUT = pathlib.Path(__file__).resolve().parents[2] / "data" / "exchange"
I = np.arange(400)
T = I * 1e-3
COMMAND = np.where(I < 100, 0.0, 1.5)
TORQUE = 0.9 * COMMAND + 0.001 * ((I * 37) % 11)
ANGLE = 0.25 * I


def parquet():
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pa.table(
        {
            "t": pa.array(T),
            "command": pa.array(COMMAND, pa.float32()),
            "torque": pa.array(np.round(1000 * TORQUE).astype(np.int32)),
            "angle": pa.array((4 * ANGLE).astype(np.int64)),
            "note": pa.array(["x"] * len(I)),
        }
    )
    pq.write_table(table, OUT / "pyarrow.parquet", row_group_size=150, compression="snappy")
    holes = table.set_column(2, "torque", pa.array([None if i in (7, 300) else float(v) for i, v in enumerate(TORQUE)]))
    pq.write_table(holes, OUT / "holes.parquet", compression="gzip", data_page_version="2.0", use_dictionary=False)


def others():
    import h5py
    import scipy.io
    import xarray as xr

    counts = np.round(1000 * TORQUE).astype(np.int16)
    variables = {
        "t": T,
        "command": COMMAND.astype(np.float32),
        "torque": counts,
        "both": np.column_stack([ANGLE, 2 * ANGLE]),
        "name": "a text",
        "more": {"field": 1.0},
    }
    scipy.io.savemat(OUT / "scipy5.mat", variables, do_compression=True)
    scipy.io.savemat(OUT / "scipy5-plain.mat", variables, do_compression=False, oned_as="column")
    np.savez(OUT / "plain.npz", t=T, command=COMMAND.astype(np.float32), torque=counts, angle=ANGLE.astype(">f8"))
    np.savez_compressed(OUT / "packed.npz", t=T, command=COMMAND, torque=counts, angle=ANGLE, table=np.zeros((3, 4)))
    # MATLAB's 7.3 is HDF5 behind a block of 512 bytes, vectors as arrays of two axes.
    with h5py.File(OUT / "level73.mat", "w", userblock_size=512) as file:
        for name, values in [("t", T), ("command", COMMAND), ("torque", TORQUE), ("angle", ANGLE)]:
            data = file.create_dataset(name, data=values.reshape(1, -1), compression="gzip", chunks=(1, 100))
            data.attrs["MATLAB_class"] = np.bytes_("double")
    with open(OUT / "level73.mat", "r+b") as file:
        file.write(b"MATLAB 7.3 MAT-file, written by h5py for a test".ljust(124) + b"\x00\x02IM")
    data = xr.Dataset(
        {
            "command": ("t", COMMAND, {"units": "N.m"}),
            "torque": ("t", TORQUE, {"units": "mN.m"}),
            "angle": ("t", ANGLE, {"units": "deg"}),
        },
        coords={"t": ("t", T, {"units": "s"})},
    )
    data["torque"].values[:] *= 1000
    packing = {"torque": {"dtype": "int16", "scale_factor": 0.5, "add_offset": 10.0, "_FillValue": -32768}}
    data.to_netcdf(OUT / "xarray.nc", engine="h5netcdf", encoding=packing)


if __name__ == "__main__":
    OUT.mkdir(parents=True, exist_ok=True)
    parquet() if sys.argv[1:] == ["parquet"] else others()
