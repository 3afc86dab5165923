"""Opens a recording with h5py and with xarray and compares it with the writer's truth.

Usage: open_recording.py RECORDING TRUTH.json

Knows nothing of the program that wrote the file: only h5py, xarray (engine h5netcdf) and what SCHEMA.md says. The
seal is computed here from the canonical form in SCHEMA.md ("The seal").
"""

import hashlib
import json
import struct
import sys

import h5py
import numpy as np
import xarray

path, truth_path = sys.argv[1:]
with open(truth_path, encoding="utf-8") as f:
    truth = json.load(f)
sealed = truth["seal"] is not None
ticks = np.array(truth["ticks"], dtype=np.int64)


def check_h5py():
    with h5py.File(path, "r") as file:
        assert file.attrs["schema"] == "truerim recording", file.attrs["schema"]
        assert file.attrs["Conventions"] == "CF-1.10"
        assert file.attrs["run_id"] == truth["run_id"]
        assert file.attrs["operator"] == truth["operator"]
        assert int(file.attrs["seed"]) == truth["seed"]
        time = file["time"]
        assert time.is_scale and time.dtype == np.int64
        np.testing.assert_array_equal(time[:], ticks)
        assert time.attrs["scale_factor"] == 1e-6 and time.attrs["units"] == "s"
        for channel in truth["channels"]:
            dataset = file[channel["name"]]
            assert dataset.dtype == np.dtype(f"i{channel['bytes']}"), dataset.dtype
            assert dataset.dims[0][0] == time, "the time scale is attached"
            assert dataset.dims[0].keys() == ["time"], dataset.dims[0].keys()
            assert dataset.maxshape == (None,) and dataset.shuffle and dataset.compression == "gzip"
            np.testing.assert_array_equal(dataset[:], np.array(channel["counts"]))
            for attribute, key in {
                "scale_factor": "scale",
                "add_offset": "offset",
                "units": "units",
                "long_name": "long_name",
                "group_delay_s": "group_delay_s",
                "valid_min": "raw_min",
                "valid_max": "raw_max",
            }.items():
                assert dataset.attrs[attribute] == channel[key], (attribute, dataset.attrs[attribute])
            assert dataset.attrs["valid_min"].dtype == dataset.dtype
        names = [name.decode() for name in file["files/name"][:]]
        texts = [text.decode() for text in file["files/text"][:]]
        assert [list(pair) for pair in zip(names, texts)] == truth["files"]
        assert file["extra/value"].asstr()[0] == truth["extra"][0][1]
        if sealed:
            assert file.attrs["completion"] == "complete"
            assert list(file["segments/name"].asstr()[:]) == truth["segment_names"]
            assert file["segments/to_nm"][0] == truth["segment_to_nm"]
            assert np.isnan(file["segments/f_start_hz"][0])
            assert file["segments/name"].dims[0][0] == file["segments/row"]
            assert file["events/text"].asstr()[0] == truth["event_text"]


def check_xarray():
    with xarray.open_dataset(path, engine="h5netcdf") as data:
        assert set(data.coords) == {"time"}, data.coords
        assert dict(data.sizes) == {"time": len(ticks)}, data.sizes
        np.testing.assert_allclose(data.time.values, ticks * 1e-6, rtol=1e-15)
        assert data.time.attrs["units"] == "s"
        for channel in truth["channels"]:
            values = data[channel["name"]]
            assert values.dims == ("time",)
            assert values.attrs["units"] == channel["units"]
            expected = np.array(channel["counts"]) * channel["scale"] + channel["offset"]
            # xarray decodes 16-bit counts to 32-bit floats when there is no offset to keep.
            tolerance = 1e-6 * np.max(np.abs(expected)) if values.dtype == np.float32 else 1e-12
            np.testing.assert_allclose(values.values, expected, rtol=0, atol=tolerance)
        # The coordinate is usable as one: 10 ms from the first sample on are 41 samples of 250 us.
        first = data.time.values[0]
        assert data.torque.sel(time=slice(first, first + 0.01 + 1e-7)).size == 41
    if not sealed:
        return
    with xarray.open_dataset(path, engine="h5netcdf", group="segments") as table:
        assert set(table.sizes) == {"row"} and set(table.coords) == {"row"}, table
        assert list(table.name.values) == truth["segment_names"], table.name.values
        assert table.to_nm.attrs["units"] == "N.m"
    with xarray.open_dataset(path, engine="h5netcdf", group="events") as table:
        assert table.text.values[0] == truth["event_text"]


BOOKKEEPING = {"CLASS", "NAME", "REFERENCE_LIST", "DIMENSION_LIST", "DIMENSION_LABELS"}


def canonical(kind_of, shape, values):
    """Type word, shape word and bytes of one attribute or dataset."""
    shape = "x".join(map(str, shape)) or "scalar"
    if h5py.check_string_dtype(kind_of) is not None:
        texts = np.atleast_1d(np.array(values, dtype=object)).ravel()
        encoded = [t.encode() if isinstance(t, str) else t for t in texts]
        return "text", shape, b"".join(struct.pack("<Q", len(t)) + t for t in encoded)
    word = {"i": "i", "u": "u", "f": "f"}[kind_of.kind] + str(8 * kind_of.itemsize)
    return word, shape, np.asarray(values).astype(kind_of.newbyteorder("<")).tobytes()


def digest(name, thing):
    h = hashlib.sha256()
    group = isinstance(thing, h5py.Group)
    h.update(f"{'group' if group else 'dataset'} {name}\n".encode())
    for attribute in sorted(thing.attrs, key=lambda a: a.encode()):
        if attribute in BOOKKEEPING or (name == "/" and attribute in {"seal", "seal_method"}):
            continue
        identifier = thing.attrs.get_id(attribute)
        word, shape, data = canonical(identifier.dtype, identifier.shape, thing.attrs[attribute])
        h.update(f"attribute {attribute} {word} {shape}\n".encode() + data)
    if not group:
        word, shape, data = canonical(thing.dtype, thing.shape, thing[()])
        h.update(f"data {word} {shape}\n".encode() + data)
    return h.hexdigest()


def check_seal():
    with h5py.File(path, "r") as file:
        objects = {"/": file}
        file.visititems(lambda name, thing: objects.__setitem__("/" + name, thing))
        objects = {n: t for n, t in objects.items() if n != "/seal" and not n.startswith("/seal/")}
        names = sorted(objects, key=str.encode)
        lines = [f"{digest(name, objects[name])} {name}\n" for name in names]
        table = zip(file["seal/sha256"].asstr()[:], file["seal/object"].asstr()[:])
        assert [f"{d} {o}\n" for d, o in table] == lines, "object by object"
        seal = hashlib.sha256("".join(lines).encode()).hexdigest()
        assert seal == file.attrs["seal"] == truth["seal"], (seal, file.attrs["seal"], truth["seal"])


check_h5py()
check_xarray()
if sealed:
    check_seal()
print("all as written")
