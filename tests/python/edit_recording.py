"""Adds 1 to one count of `torque` in the recording named on the command line."""

import sys

import h5py

with h5py.File(sys.argv[1], "r+") as file:
    file["torque"][1234] += 1
print("all as written but one count")
